"""Keep a small society as the present release stores it, for every later release.

    python -m tests.releases.make

writes ``tests/releases/<version>.tar.gz``: a backup, as ``manage.py backup`` makes it.
Once a release, when its migrations are final; a file that is there is never made again.
"""

import os
import sys
import tarfile
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main():
    with tempfile.TemporaryDirectory() as place:
        os.environ["SECOND_CROSSING_DATA"] = place
        os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
        os.environ.pop("DATABASE_URL", None)
        import django

        django.setup()
        from django.conf import settings
        from django.core.management import call_command

        target = HERE / f"{settings.VERSION}.tar.gz"
        if target.exists():
            sys.exit(f"{target.name} is there already and stays as it is.")
        call_command("migrate", verbosity=0)
        _fill()
        call_command("backup", Path(place) / "backup", verbosity=0)
        with tarfile.open(target, "w:gz") as file:
            file.add(Path(place) / "backup", "backup")
    print(target.name)


def _fill():
    from surveys import services
    from tests.images import with_place
    from tests.makers import make_bridge, make_person, make_visit, photo_document

    data = with_place()
    bridge, rae = make_bridge(), make_person("rae", "reviewer")
    make_person("kit", "keeper")
    visit = make_visit(
        bridge,
        reviewer=rae,
        said={"span-1/deck": {"layers": [{"material": "timber", "thickness_in": 3.0}]}},
        photos=[photo_document(data)],
    )
    services.store_photo(photo=visit.photos.get(), bytes=data)
    make_visit(bridge, date="1978~", said={"limit": {"tons": 8.0}})


if __name__ == "__main__":
    main()
