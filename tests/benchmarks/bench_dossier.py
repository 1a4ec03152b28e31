"""How long a long dossier takes to draw, and how much memory: run by hand.

    python -m tests.benchmarks.bench_dossier

Sixty photographs, forty visits, four truss lines: the PDF and the package,
each drawn in this one process by the job that a worker runs. Prints seconds and the
peak of memory above what the libraries take.
"""

import io
import os
import resource
import tempfile
import time
from pathlib import Path

VISITS, PHOTOGRAPHS = 40, 60


def main():
    folder = tempfile.TemporaryDirectory()
    os.environ["SECOND_CROSSING_DATA"] = folder.name
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    bridge = make_long_record()
    # What every worker has loaded anyway.
    import weasyprint  # noqa: F401
    from django.core.files.storage import default_storage

    from analysis import dossier, dossier_jobs

    before = peak_mb()
    wanted = {"bridge": bridge.pk, "include": [], "case": None, "between": []}
    for document in ("dossier", "package"):
        for paper in ("letter", "a4"):
            told = []
            began, worked = time.perf_counter(), time.process_time()
            dossier_jobs.draw(
                document=document,
                paper=paper,
                progress=lambda *words, into=told: into.append(words[2]),
                **wanted,
            )
            print(
                f"{document} on {paper}: {time.perf_counter() - began:.2f} s "
                f"({time.process_time() - worked:.2f} s of processor), "
                f"told {len(told)} times, peak {peak_mb() - before:.0f} MB above imports"
            )
    facts = dossier.facts(bridge)
    began = time.perf_counter()
    name = dossier.kept(facts)
    print(f"found again: {time.perf_counter() - began:.2f} s")
    print(f"{default_storage.size(name) / 1e6:.1f} MB of PDF")
    folder.cleanup()


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def make_long_record():
    """Return a bridge of two spans with forty visits and sixty photographs."""
    from django.core.files.base import ContentFile
    from django.core.files.storage import default_storage

    from analysis import dossier, layout, services
    from bridges.models import Bridge
    from surveys.models import Element, Photo
    from tests.images import jpeg
    from tests.makers import make_id, make_person, make_span
    from tests.structures import BY_ROLE, FLOOR, GRID, make_described_bridge
    from tests.structures import make_visit_saying as visit

    bridge = make_described_bridge(year=1960)
    make_span(bridge)
    layout.lay_out_bridge(bridge)
    second = Element.objects.filter(bridge=bridge, path__startswith="span-2/")
    states = {one.path: BY_ROLE[one.role] for one in second.filter(kind="member")}
    states |= {path.replace("span-1", "span-2"): one for path, one in FLOOR.items()}
    known = set(second.values_list("path", flat=True))
    states = {path: one for path, one in states.items() if path in known}
    visits = [visit(bridge, 1961, changed=states)]
    paths = list(
        Element.objects.filter(bridge=bridge)
        .exclude(kind="plate")
        .values_list("path", flat=True)
    )
    for number in range(VISITS - 2):
        deck = GRID if number % 8 == 0 else FLOOR["span-1/deck"]
        changed = {"span-1/deck": deck} if number % 4 == 0 else {}
        same = [path for path in paths if path not in changed]
        visits.append(visit(bridge, 1980 + number, changed=changed, same=same))
    services.recheck(bridge=bridge)
    for number in range(PHOTOGRAPHS):
        data = jpeg(1600, 1200, colour=(3 * number, 90, 120))
        name = default_storage.save(
            f"photos/{number}-1600.jpg", ContentFile(noisy(number) or data)
        )
        Photo.objects.create(
            client_id=make_id(f"picture {number}"),
            visit=visits[number % len(visits)],
            caption=f"Picture {number}",
            credit="Ada Quill",
            rights="CC BY 4.0",
            taken="2019-06-02",
            bearing_deg=6.0 * number,
            latitude="41.200400",
            longitude="-77.400300",
            size_bytes=len(data),
            received_bytes=len(data),
            sha256=f"{number:064x}",
            arrived_at=visits[0].submitted_at,
            width_px=1600,
            height_px=1200,
            format="JPEG",
            derivatives={"1600": name},
        )
    dossier.save_narrative(
        bridge=Bridge.objects.get(pk=bridge.pk),
        person=make_person("odile", "officer"),
        revision=0,
        written={"photos": [str(p.client_id) for p in Photo.objects.order_by("id")]},
    )
    return Bridge.objects.get(pk=bridge.pk)


def noisy(seed):
    """Return a JPEG as heavy as a photograph: grain, about half a megabyte."""
    from PIL import Image

    grain = Image.effect_noise((1600, 1200), 40 + seed % 10).convert("RGB")
    out = io.BytesIO()
    grain.save(out, "JPEG", quality=60)
    return out.getvalue()


if __name__ == "__main__":
    assert Path("manage.py").exists(), "run it at the root of the project"
    main()
