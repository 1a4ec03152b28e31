"""The same picture twice is noticed, whatever was done to its file."""

import io
import random

import pytest
from PIL import Image, ImageDraw, ImageEnhance

from surveys import pictures, services, twins
from surveys.models import Photo
from tests.makers import make_bridge, make_person, make_visit, photo_document


def scene(seed, size=(1200, 900)):
    """A picture with the edges of a landscape: bands, posts and bars at random."""
    chance = random.Random(seed)
    image = Image.new("RGB", size, (180, 200, 215))
    draw = ImageDraw.Draw(image)
    for _ in range(40):
        x, y = chance.randrange(size[0]), chance.randrange(size[1])
        wide, tall = chance.randrange(30, 400), chance.randrange(20, 300)
        grey = chance.randrange(20, 230)
        draw.rectangle((x, y, x + wide, y + tall), fill=(grey, grey, grey // 2))
    return image


def file_of(image, kind="JPEG", **options):
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def looks(data):
    return pictures.read(io.BytesIO(data)).looks


def test_looks_are_the_difference_hash():
    """Nine columns that grow lighter to the right: no bit; darker: all 64."""
    ramp = Image.new("L", (9, 8))
    ramp.putdata([column * 20 for _ in range(8) for column in range(9)])
    assert pictures.looks_of(ramp) == "0" * 16
    assert pictures.looks_of(ramp.transpose(Image.Transpose.FLIP_LEFT_RIGHT)) == (
        "f" * 16
    )


def test_one_picture_saved_anew_looks_the_same_and_two_do_not():
    images = [scene(seed) for seed in range(30)]
    whole = [looks(file_of(image, quality=92)) for image in images]
    again = [looks(file_of(image.resize((640, 480)), quality=50)) for image in images]
    lighter = [
        looks(file_of(ImageEnhance.Brightness(image).enhance(1.1), "PNG"))
        for image in images
    ]
    for one, small, light in zip(whole, again, lighter, strict=True):
        assert twins.is_like(one, small)
        assert twins.is_like(one, light)
    apart = [pictures.unlike(a, b) for i, a in enumerate(whole) for b in whole[i + 1 :]]
    assert min(apart) > twins.MOST_UNLIKE


def test_a_plain_wall_looks_like_nothing_else():
    wall = looks(file_of(Image.new("RGB", (400, 300), (200, 200, 200))))
    assert not twins.is_like(wall, wall)


@pytest.mark.django_db
def test_twins_of_a_visit_are_named_and_none_is_refused(django_assert_max_num_queries):
    bridge, ada = make_bridge(), make_person("ada")
    elsewhere = make_bridge(name="Other Bridge")
    first, small = file_of(scene(1)), file_of(scene(1).resize((700, 525)))
    other = file_of(scene(2))
    sent = [
        (bridge, "2010", {"a.jpg": first}),
        (elsewhere, "2011", {"b.jpg": other}),
        (bridge, "2019", {"c.jpg": first, "d.jpg": small, "e.jpg": other}),
        (elsewhere, "2020", {"f.jpg": small}),
    ]
    for where, date, files in sent:
        photos = [photo_document(data, name) for name, data in files.items()]
        visit = make_visit(where, ada, date=date, photos=photos)
        for photo in visit.photos.all():
            if not photo.arrived_at:
                services.store_photo(photo=photo, bytes=files[photo.name])
    assert Photo.objects.arrived().count() == 6
    visit = Photo.objects.get(name="c.jpg").visit
    with django_assert_max_num_queries(3):
        found = twins.of_visit(visit)
    by_name = {
        Photo.objects.get(pk=pk).name: {(t.photo.name, t.is_same_file) for t in rows}
        for pk, rows in found.items()
    }
    assert by_name == {
        "c.jpg": {("a.jpg", True), ("d.jpg", False)},
        "d.jpg": {("f.jpg", True), ("a.jpg", False), ("c.jpg", False)},
        "e.jpg": {("b.jpg", True)},
    }
