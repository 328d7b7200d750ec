"""The life of each cordon: where it starts, from when on it is at risk, and how it ends."""

from __future__ import annotations

import pytest

from balance.cordons import lives as lives_module
from records.access import enter, open_farm
from records.errors import NotValid
from records.services.vineyards import create_block
from tests.balance.cordons.lived import Lived

pytestmark = pytest.mark.django_db


@pytest.fixture
def followed(cast) -> Lived:
    return Lived(cast, year_planted=2005)


def test_a_farm_without_inspections_has_no_lives(followed):
    lives = followed.lives()
    assert (len(lives), lives.blocks, lives.rootstocks) == (0, (), ())
    assert [lives.grouped(by)[0].tolist() for by in lives_module.GROUPINGS] == [[]] * 5


def test_a_cordon_without_a_case_is_censored_when_it_was_last_looked_at(followed):
    followed.look(0, 2019, 2022)
    assert followed.told() == [(0, "left", 2005, 2019, 2019, 2022, "standing")]


def test_it_ends_when_a_case_is_noticed_also_one_of_the_whole_vine_or_of_a_part(followed):
    for vine in (0, 1, 2):
        followed.look(vine, 2019, 2020)
        followed.look(vine, 2020, cordon="right")
    followed.case(0, 2021)
    followed.case(1, 2022, cordon="")
    followed.case(2, 2021, scope="part_of_cordon")
    assert followed.told() == [
        (0, "left", 2005, 2019, 2019, 2021, "replaced"),
        (0, "right", 2005, 2020, 2020, 2020, "standing"),
        (1, "left", 2005, 2019, 2019, 2022, "replaced"),
        (1, "right", 2005, 2020, 2020, 2022, "replaced"),
        (2, "left", 2005, 2019, 2019, 2021, "replaced"),
        (2, "right", 2005, 2020, 2020, 2020, "standing"),
    ]


def test_what_was_withdrawn_counts_nowhere(followed):
    _, last = followed.look(0, 2019, 2022)
    case = followed.case(0, 2021)
    event = followed.event(0, 2020, "missing")
    for path, row in (("cordon-inspections", last), ("cordon-cases", case), ("vine-events", event)):
        answer = followed.client.delete(f"{followed.url}/{path}/{row['id']}", headers={"If-Match": "*"})
        assert answer.status_code == 200, answer.json()
    assert followed.told() == [(0, "left", 2005, 2019, 2019, 2019, "standing")]


def test_an_arm_that_was_laid_down_is_a_new_life_from_that_season_on_and_at_risk_in_it(followed):
    followed.look(0, 2019, 2020, 2021)
    case = followed.case(0, 2021)
    followed.look(0, 2022)  # of the old cordon, after its event: nobody follows it any more
    followed.step(case, "candidate_chosen", 2022)
    followed.step(case, "laid_down", 2023)
    followed.step(case, "bearing", 2025)
    assert followed.told()[1:] == [(0, "left", 2023, 2023, 2022, 2025, "standing")]
    followed.look(0, 2026)
    followed.case(0, 2026)
    assert followed.told() == [
        (0, "left", 2005, 2019, 2019, 2021, "replaced"),
        (0, "left", 2023, 2023, 2022, 2026, "replaced"),
    ]


def test_an_arm_that_fails_ends_and_the_next_one_starts_anew(followed):
    followed.look(0, 2017, 2018)
    case = followed.case(0, 2018)
    for step, season in (("laid_down", 2019), ("failed", 2019), ("laid_down", 2020), ("filling", 2021)):
        followed.step(case, step, season)
    followed.step(case, "laid_down", 2022)  # laid down anew without having failed: it starts again
    followed.step(case, "filling", 2023)
    assert followed.told()[1:] == [
        (0, "left", 2019, 2019, 2018, 2019, "replaced"),
        (0, "left", 2022, 2022, 2021, 2023, "standing"),
    ]


def test_a_failed_search_for_a_candidate_ends_nothing_a_second_time(followed):
    followed.look(0, 2017, 2018, 2020)
    case = followed.case(0, 2018)
    for step in ("candidate_chosen", "failed", "given_up"):
        followed.step(case, step, 2019)
    followed.case(0, 2020)
    assert followed.told() == [(0, "left", 2005, 2017, 2017, 2018, "replaced")]


def test_cordons_of_a_vine_renewed_from_its_trunk_are_followed_from_their_first_look(followed):
    followed.look(0, 2015, 2016)
    followed.look(0, 2016, cordon="right")
    case = followed.case(0, 2016, cordon="")
    followed.step(case, "laid_down", 2017)
    followed.look(0, 2019, 2021)
    assert followed.told() == [
        (0, "left", 2005, 2015, 2015, 2016, "replaced"),
        (0, "left", 2017, 2019, 2019, 2021, "standing"),
        (0, "right", 2005, 2016, 2016, 2016, "replaced"),
    ]


def test_a_vine_that_goes_takes_its_cordons_with_it_and_the_next_plant_starts_anew(followed):
    followed.look(0, 2018, 2019)
    followed.event(0, 2020, "missing", happened_on="2019-12-01")
    followed.event(0, 2021, "replanted", happened_on="2021-04-15", rootstock="101-14")
    followed.look(0, 2023, 2025)
    followed.look(1, 2018, 2020)
    followed.event(1, 2021, "retrained")
    followed.look(1, 2021, 2022)
    assert followed.told() == [
        (0, "left", 2005, 2018, 2018, 2019, "went with its vine"),
        (0, "left", 2021, 2023, 2023, 2025, "standing"),
        (1, "left", 2005, 2018, 2018, 2020, "went with its vine"),
        (1, "left", 2021, 2021, 2021, 2022, "standing"),
    ]
    lives = followed.lives()
    codes, names = lives.grouped("rootstock")
    assert [names[code] for code in codes[lives.starts == 2021]].count("101-14") == 1
    assert [names[code] for code in codes[lives.starts == 2005]] == ["", ""]


def test_where_planting_is_not_known_or_lies_after_the_first_look_no_start_is_made_up(cast):
    followed = Lived(cast)
    followed.look(0, 2019, 2020)
    followed.vines[1].__class__.objects.for_farm(cast.farm).filter(pk=followed.vines[1].pk).update(year_planted=2021)
    followed.look(1, 2019, 2020)
    assert [life[2] for life in followed.told()] == [None, None]


def test_what_is_found_at_the_first_look_was_there_before(followed):
    followed.look(0, 2019)
    followed.case(0, 2019)
    followed.look(1, 2019, 2020)
    followed.case(2, 2019)  # never looked at: not followed at all
    lives = followed.lives()
    assert (len(lives), lives.prevalent.sum(), lives.followed.sum()) == (2, 1, 1)
    assert not lives.prevalent[lives.followed].any()


def test_nothing_of_a_later_season_counts(followed):
    followed.look(0, 2019, 2020, 2022)
    case = followed.case(0, 2022)
    followed.step(case, "laid_down", 2023)
    assert followed.told(until=2021) == [(0, "left", 2005, 2019, 2019, 2020, "standing")]
    assert followed.told(until=2022) == [(0, "left", 2005, 2019, 2019, 2022, "replaced")]
    assert len(followed.told()) == 2


def test_a_block_has_its_own_lives_and_what_groups_them(followed, cast):
    followed.look(0, 2019)
    enter(cast.owner.caller)
    other = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Upper Terrace"}).row
    lives = followed.lives(followed.block)
    assert (len(lives), len(followed.lives(other))) == (1, 0)
    assert lives.grouped("block")[1] == [str(followed.block.pk)]
    assert [lives.grouped(by)[1] for by in ("none", "cultivar", "rootstock", "training")] == [[""]] * 4


def test_too_many_are_refused_with_the_way_out(followed, monkeypatch):
    followed.look(0, 2019)
    followed.look(1, 2019)
    monkeypatch.setattr(lives_module, "MOST_LIVES", 1)
    with pytest.raises(NotValid, match="block by block"):
        followed.lives()
