"""What follows from an acceptance follows, whatever comes between."""

import pytest
from django.core.management import call_command
from django.utils import timezone

from analysis import recheck, services
from analysis.models import ConfigurationCheck
from shared.models import Job
from surveys.models import Visit
from tests.makers import make_bridge, make_person, make_visit


@pytest.mark.django_db(transaction=True)
def test_a_power_cut_between_acceptance_and_its_checks_leaves_them_to_a_job(
    monkeypatch,
):
    bridge, rae = make_bridge(), make_person("rae", "reviewer")
    visit = make_visit(bridge, said={"limit": "same"})

    def cut(**arguments):
        raise SystemExit

    with monkeypatch.context() as power:
        power.setattr("analysis.services.recheck", cut)
        with pytest.raises(SystemExit):
            services.accept_visit(visit=visit, reviewer=rae)
    assert not ConfigurationCheck.objects.exists()
    Job.objects.update(run_after=timezone.now())
    call_command("run_jobs", "--until-empty", verbosity=0)
    assert ConfigurationCheck.objects.filter(visit=visit).count() == 2


def test_an_acceptance_that_went_well_leaves_no_job(db):
    make_visit(make_bridge(), said={"limit": "same"}, reviewer=None)
    services.accept_visit(
        visit=Visit.objects.get(), reviewer=make_person("rae", "reviewer")
    )
    assert not Job.objects.exists()


def test_what_was_read_before_another_visit_came_in_is_not_stored(db, monkeypatch):
    """Two reviewers accept at once: the later to store has read the other's too."""
    bridge, rae = make_bridge(), make_person("rae", "reviewer")
    first = make_visit(bridge, said={"limit": "same"})
    second = make_visit(bridge, date="2020-01-01", said={"limit": "same"})
    compute = recheck.compute

    def meanwhile(*arguments):
        monkeypatch.setattr(recheck, "compute", compute)
        services.accept_visit(visit=second, reviewer=rae)
        return compute(*arguments)

    monkeypatch.setattr(recheck, "compute", meanwhile)
    services.accept_visit(visit=first, reviewer=rae)
    checked = set(ConfigurationCheck.objects.values_list("visit_id", flat=True))
    assert checked == {first.pk, second.pk}
