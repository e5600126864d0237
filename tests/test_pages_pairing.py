"""The page pairs strokes as `hear` does: the same module that is in the page, run by Node, says the
same of hundreds of takes with known faults."""

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from statistics import fmean
from typing import Any, NamedTuple

import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.asked import rule_of
from midiforge.hear.expected import Due, expected
from midiforge.hear.pairing import Pairing
from midiforge.hear.placing import hear_take, place
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb, OrnamentKind
from midiforge.pages import script as linking
from midiforge.pages.due import hearing, ornaments

HERE = Path(__file__).parent
MODULE = Path(linking.__file__).parent / "player" / "pairing.js"
DRILLS: dict[str, dict[str, Any]] = {
    "paradiddle": {"sticking": "RLRRLRLL", "feet": "samba"},
    "flams": {"sticking": "lR L rL R", "feet": "1 3"},
    "drags": {"sticking": "llR L rrL R", "tempos": 70},
    "buzzes": {"sticking": "Rz L Rz L", "feet": "1 3"},
    "linear": {"sticking": "RLKRLK", "tempos": 110},
    "two hands at once": {"sticking": "RBRB", "feet": "four-on-the-floor"},
    "fast": {"sticking": "RLRRLRLL", "tempos": 150, "feet": "samba"},
    "swung": {"sticking": "RLRRLRLL", "swing": "2:1", "feet": "samba"},
    "six-eight": {"sticking": "RLLRLL", "meter": "6/8", "tempos": 70, "feet": "1 2"},
}
FAULTS: dict[str, dict[str, Any]] = {
    "clean": {},
    "loose": {"jitter": 0.018},
    "missed": {"miss": 0.15},
    "extra": {"extra": 0.12},
    "second triggers": {"double": 0.3},
    "late foot": {"limbs": {Limb.RIGHT_FOOT: 0.035}},
    "early hand": {"limbs": {Limb.LEFT_HAND: -0.03}},
    "all of it": {"miss": 0.1, "extra": 0.1, "double": 0.15, "jitter": 0.012},
}
SEEDS = 5
NAMES = {f"{drill}, {fault}": (drill, fault) for drill in DRILLS for fault in FAULTS}
START, SECONDS = 3.0, 8.0


class Case(NamedTuple):
    """A take, and what `hear` says of it."""

    name: str
    exercise: Exercise
    pairing: Pairing


EXERCISES = {
    name: next(
        iter(midiforge.exercises(midiforge.check_drill({"title": name, "stages": "full", **drill})))
    )
    for name, drill in DRILLS.items()
}


def _take(exercise: Exercise, seed: int, how: dict[str, Any]) -> Take:
    """A take with a fault, the grace notes and bounces of its strokes with it."""
    take, _ = synthetic(exercise, seed=seed, seconds=SECONDS, start=START, **how)
    strokes = list(take.strokes)
    for due in expected(exercise, KIT, SECONDS):
        time, ornament = START + due.time, due.hit.ornament
        if ornament is None or due.time > SECONDS:
            continue
        if ornament.kind is OrnamentKind.BUZZ:
            number, moments = KIT.note(due.hit.voice), [time + 0.04 * i for i in (1, 2, 3)]
        else:
            number = KIT.note(ornament.voice)
            moments = [time - 0.033 * i for i in range(1, ornament.grace_notes + 1)]
        strokes += [Stroke(moment, moment, number, 30) for moment in moments]
    strokes.sort(key=lambda stroke: stroke.time)
    return replace(take, strokes=tuple(strokes), start=START)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    found = []
    for number, (name, (drill, fault)) in enumerate(NAMES.items()):
        exercise = EXERCISES[drill]
        for seed in range(SEEDS):
            take = _take(exercise, SEEDS * number + seed, FAULTS[fault])
            heard = hear_take(take, exercise, KIT)
            placed = place(take, exercise, KIT, heard)
            found.append(Case(name, exercise, Pairing(take, exercise, KIT, heard, placed, 0.0)))
    assert len(found) >= 300
    return found


def _asked_of_page(case: Case, to_the_click: bool) -> dict[str, Any]:
    """What the module is given: by the player's own time as `hear` follows it, or by the click."""
    of, exercise = case.pairing, case.exercise
    rule = rule_of(exercise, KIT)
    stretch = 1.0 if to_the_click else of.stretch

    def told(due: Due, time: float) -> dict[str, Any]:
        grid = float(due.hit.grid) * of.quarter * stretch
        moment = START + due.time if to_the_click else time
        return {"time": moment, "pad": due.pad, "grid": grid, "ornaments": ornaments(due.hits)}

    return {
        "dues": [told(due, time) for due, time in zip(of.dues, of.when, strict=False)],
        "strokes": [[stroke.time, stroke.pad, stroke.velocity] for stroke in of.strokes],
        "coming": [told(due, time) for due, time in of.coming],
        "rule": {
            "within": rule.window if to_the_click else of.window,
            "companion": rule.companion,
            "grace": rule.grace,
            "graces": {pad: sorted(others) for pad, others in rule.graces.items()},
            "step": of.step_ms / 1000,
            "slower": stretch,
            "limits": hearing(KIT)["limits"],
        },
    }


def _page_says(cases: list[Case], to_the_click: bool) -> list[dict[str, Any]]:
    node = shutil.which("node")
    if node is None:
        pytest.skip("the page's own module is run by Node: no node here")
    told = json.dumps([_asked_of_page(case, to_the_click) for case in cases])
    command = [node, str(HERE / "pairing.mjs"), MODULE.as_uri()]
    done = subprocess.run(command, input=told, capture_output=True, text=True, check=True)
    answers: list[dict[str, Any]] = json.loads(done.stdout)
    return answers


def test_the_page_pairs_the_same_strokes_as_hear_and_says_the_same_of_the_rest(
    cases: list[Case],
) -> None:
    for case, page in zip(cases, _page_says(cases, to_the_click=False), strict=True):
        of = case.pairing
        assert dict(page["met"]) == dict(of.met), case.name
        # What hear tells further of, the page counts as more than written.
        tells = {stroke.which: j for j, stroke in enumerate(of.strokes)}
        kinds = {tells[which]: kind for which, kind in of.kinds.items() if which in tells}
        more = dict.fromkeys((*of.moved.values(), *of.pulled.values()), "extra")
        heard = {j: "extra" if kind == "added" else kind for j, kind in kinds.items()} | more
        assert dict(page["kinds"]) == heard, case.name


def test_by_the_click_it_says_as_hear_how_far_each_stroke_is_off(cases: list[Case]) -> None:
    pairs = same = 0
    for case, page in zip(cases, _page_says(cases, to_the_click=True), strict=True):
        of = case.pairing
        pairs += len(of.met)
        for i, j in page["met"]:
            if of.met.get(i) == j:
                same += 1
                off = 1000 * (of.strokes[j].time - START - of.dues[i].time)
                assert off == pytest.approx(of.offs[i], abs=0.01), case.name
    # By the player's own time a stroke in a thousand is on the other side of a limit.
    assert same >= 0.999 * pairs


def test_known_faults_are_told_by_the_click(cases: list[Case]) -> None:
    """Not hear's word, but what was done to the takes."""
    chosen = [case for case in cases if case.name.endswith((", clean", ", early hand"))]
    offs: dict[str, list[float]] = {"clean": [], "early hand": []}
    for case, page in zip(chosen, _page_says(chosen, to_the_click=True), strict=True):
        of, fault = case.pairing, case.name.split(", ")[1]
        assert len(page["met"]) == len(of.dues), case.name
        offs[fault] += [
            1000 * (of.strokes[j].time - START - of.dues[i].time)
            for i, j in page["met"]
            if {hit.limb for hit in of.dues[i].hits} == {Limb.LEFT_HAND}
        ]
    assert fmean(offs["clean"]) == pytest.approx(0, abs=1)
    assert fmean(offs["early hand"]) == pytest.approx(-30, abs=1)
