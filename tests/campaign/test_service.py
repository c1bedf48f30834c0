import pytest

from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.errors import CampaignError

C = "campaign.toml"
SERVICE = """
[materials.rough.service]
friction_wear_limit_mm = 0.05
mating_wear_limit_mm = 0.05
least_mu = 0.11
mating_density_kg_m3 = 7850

[duties.stages]
sliding_power_w = 400
clamp_load_n = 6000
hours_per_year = 30
"""


@pytest.fixture
def served(bench):
    bench.spoil(
        C, "[packs.A1]\n", SERVICE + "\n[packs.A1]\nduty = 'stages'\nsliding_work_mj = 3.5\n"
    )
    return bench


def test_limits_and_duties_arrive(served):
    campaign = served.read()
    limits = ServiceLimits(0.05, 0.05, 0.11, None, 7850.0)
    assert campaign.materials["rough"].service == limits
    assert campaign.materials["plain"].service is None
    assert dict(campaign.duties) == {"stages": Duty("stages", 400.0, 6000.0, 30.0)}
    assert (campaign.packs["A1"].duty, campaign.packs["A1"].sliding_work_mj) == ("stages", 3.5)


def test_a_campaign_without_them_has_none(bench):
    campaign = bench.read()
    assert dict(campaign.duties) == {}
    assert campaign.packs["A1"].duty is None


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("duty = 'stages'", "duty = 'stage'", ["packs.A1.duty", "there is no duty", "mean stages"]),
        ("sliding_power_w = 400\n", "", ["duties.stages.sliding_power_w", "is missing", "[W]"]),
        ("least_mu = 0.11", "least_mu = 0", ["materials.rough.service.least_mu", "above 0"]),
        ("least_mu", "lest_mu", ["materials.rough.service.lest_mu", "mean least_mu"]),
        ("per_year = 30", "per_year = 9000", ["hours_per_year", "at most 8784"]),
    ],
)
def test_faults_name_the_key(served, old, new, words):
    served.spoil(C, old, new)
    with pytest.raises(CampaignError) as caught:
        served.read()
    for word in words:
        assert word in str(caught.value)
