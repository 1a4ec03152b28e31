"""People find their pages: links that only some may see."""

import pytest

from tests.makers import make_bridge, make_person

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "group, sees, not_sees",
    [
        (None, [], ["/visits/", "/record/"]),
        ("volunteer", ["/visits/", "/visit/"], ["/record/"]),
        ("reviewer", ["/visits/", "/record/", "/review/"], ["/dossiers/"]),
        ("officer", ["/record/", "/dossiers/"], ["/review/"]),
    ],
)
def test_the_page_of_a_bridge_leads_each_to_what_they_may_do(
    client, group, sees, not_sees
):
    bridge = make_bridge()
    if group:
        client.force_login(make_person("ada", group))
    page = client.get(bridge.get_absolute_url()).content.decode()
    for address in sees:
        assert f'{address}"' in page
    for address in not_sees:
        assert f'{address}"' not in page
