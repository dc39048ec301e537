"""The reports of searches that play many trials: threshold, envelope, starts, diagnose."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import partial
from shlex import quote
from typing import Any

from edgewheel.report.kinds.common import attempted, make_report
from edgewheel.report.model import Advice, Evidence, Grade, Report, Test
from edgewheel.report.pictures.looks import number
from edgewheel.report.source import Source
from edgewheel.report.words import axis_parts, axis_words, listed, sentence, several
from edgewheel.search.diagnose_words import PERHAPS
from edgewheel.search.seek import SELDOM, safe_end
from edgewheel.search.threshold import Found
from edgewheel.search.trial import Planner, RunUp
from edgewheel.search.waveform import waveform_of_loss


def read_threshold(source: Source) -> Report:
    """The report of a threshold: a value with its interval, no verdict."""
    found = source.summary["threshold"]
    address, value = found["address"], found["threshold"]
    what, unit = axis_parts(address)
    answer = sentence(str(source.summary.get("sentence") or _threshold_answer(found)))
    trials = trials_of(source, address)
    evidence: Evidence = {
        "kind": "threshold",
        **found,
        "probability": source.summary.get("probability", 0.5),
        "trials": trials,
    }
    test = Test(
        "threshold",
        f"Threshold of {what}",
        Grade.MEASURED,
        answer,
        measured=_interval(found),
        confidence="95 % interval" if value is not None else "",
        trials=len(trials),
        seconds=source.turned_s,
        repeat=source.repeat(
            f"edgewheel threshold {source.bench_path} {quote(address)} --from {found['from']:.10g} "
            f"--to {found['to']:.10g}{_run_up(source)}"
        ),
        evidence=lambda: [evidence, *attempted(partial(_failing, source))],
    )
    tested = (
        f"At which {what} the controller begins to fail, between {number(found['from'])} and "
        f"{number(found['to'])}{unit}, in {several(len(trials), 'trial')}. {source.setting}"
    )
    advice = _threshold_advice(source, found)
    return make_report(source, Grade.MEASURED, answer, tested, advice, [test])


def _failing(source: Source) -> Sequence[Evidence]:
    """The signal around the loss in the failing trial nearest to the threshold, played again.

    Only on the simulated bench, where the same trial comes out the same; and only if it did.
    """
    found, run_up, plan = source.summary["threshold"], source.summary.get("run_up"), source.plan
    failed = [trial for trial in trials_of(source, found["address"]) if not trial["passed"]]
    if found["threshold"] is None or run_up is None or plan is None or not failed:
        return []
    nearest = min(failed, key=lambda trial: abs(trial["x"] - found["threshold"]))
    file = source.folder / source.bench_name
    planner = Planner(plan.document, file, RunUp.from_data(run_up), int(source.summary["seed"]))
    shown = waveform_of_loss(planner.plan(nearest["values"], nearest["number"]))
    if shown is None:
        return []
    words = f"The signal is that of trial {nearest['number'] + 1}, at {number(nearest['x'], 6)}."
    return [shown, {"kind": "words", "words": [words]}]


def trials_of(source: Source, address: str) -> list[dict[str, Any]]:
    """The trials of a search over one number, in the order played."""
    rows = source.rows("SELECT number, setting, passed, detail, reason FROM trial ORDER BY number")
    trials = []
    for count, setting, passed, detail, reason in rows:
        values = json.loads(setting)
        value = values.get(address)
        told = detail + (f" (it says: {reason})" if reason else "")
        if value is not None:
            one = {"x": float(value), "passed": bool(passed), "told": told}
            trials.append({**one, "number": count, "values": values})
    return trials


def read_envelope(source: Source) -> Report:
    """The report of an envelope: a map, no verdict."""
    found = source.summary["envelope"]
    x, y = axis_words(found["x"]["address"]), axis_words(found["y"]["address"])
    share = float(found["area_in_sync"])
    answer = (
        f"Sync holds in {share:.1%} of the map of {x} ({_range(found['x'])}) and {y} "
        f"({_range(found['y'])})."
    )
    evidence: Evidence = {"kind": "envelope", **found}
    test = Test(
        "envelope",
        f"Where sync holds: {x} and {y}",
        Grade.MEASURED,
        answer,
        measured=f"{share:.1%} of the area",
        trials=len(found["trials"]),
        seconds=source.turned_s,
        repeat=source.repeat(
            f"edgewheel envelope {source.bench_path} --x {_words(found['x'])} "
            f"--y {_words(found['y'])} --halvings {int(found['steps']).bit_length() - 1}"
            f"{_run_up(source)}"
        ),
        evidence=lambda: [evidence],
    )
    tested = (
        f"For which values of {x} and {y} together the controller keeps sync, in "
        f"{several(len(found['trials']), 'trial')} along the border. {source.setting}"
    )
    advice = [Advice("Keep clear of the border in the map by the scatter that your parts have.")]
    return make_report(source, Grade.MEASURED, answer, tested, advice, [test])


def read_starts(source: Source) -> Report:
    """The report of starts from many angles: failed if one never found sync, else stopped if some
    angles were not tried.
    """
    found = source.summary
    count, never = len(found["starts"]), int(found["without_sync"])
    grade = Grade.FAILED if never else Grade.STOPPED if found.get("stopped") else Grade.PASSED
    answer = _starts_answer(found, count, never)
    evidence: Evidence = {"kind": "starts", **found}
    median = found.get("median_deg")
    test = Test(
        "starts",
        "Time to sync from all angles",
        grade,
        answer,
        measured="" if median is None else f"median {number(median, 4)} degrees",
        limit="sync from every angle",
        trials=count,
        seconds=source.turned_s,
        repeat=source.repeat(f"edgewheel starts {source.bench_path} --starts {count}"),
        evidence=lambda: [evidence],
    )
    least = found.get("least_of_the_wheel_deg")
    allowed = f" The wheel itself allows {number(least, 4)} degrees at worst." if least else ""
    tested = (
        f"How far the crank must turn until the controller knows the {found['sync_means']}, from "
        f"{several(count, 'crank angle')} over the cycle.{allowed} {source.setting}"
    )
    advice = {
        Grade.FAILED: Advice(
            "Let the tool find the wrong setting.", f"edgewheel diagnose {source.bench_path}"
        ),
        Grade.STOPPED: Advice("It was stopped before its end. Play it again.", test.repeat),
        Grade.PASSED: Advice(
            "Nothing needs mending. Compare with the next release by the same command."
        ),
    }
    return make_report(source, grade, answer, tested, [advice[grade]], [test])


def _starts_answer(found: Any, count: int, never: int) -> str:
    if found.get("stopped"):
        return f"It was stopped after {several(count, 'start')}, of which {never} found no sync."
    if never:
        return f"{never} of {several(count, 'start')} never found sync."
    worst = found["worst"]
    return (
        f"All {several(count, 'start')} found sync, at worst after {number(worst['degrees'], 4)} "
        f"degrees of crank, from a start at {number(worst['start_deg'], 4)} degrees."
    )


def read_diagnose(source: Source) -> Report:
    """The report of a diagnosis: which setting is wrong, and how to know."""
    found = source.summary["diagnosis"]
    findings, tries = found["findings"], int(found["tries"])
    tried = several(tries, "try")
    named = [" or ".join(finding["settings"]) for finding in findings]
    grade = Grade.FAILED if findings or not found["complete"] else Grade.PASSED
    if not found["complete"]:
        answer = f"After {tried} no signal was found with which all is right."
    elif findings:
        answer = f"Wrong: {listed(named)}. Found in {tried}."
    else:
        speeds = listed([str(rpm) for rpm in found["speeds"]])
        answer = f"Nothing is wrong at {speeds} rpm ({tried})."
    test = Test(
        "diagnose",
        "Which setting is wrong",
        grade,
        answer,
        measured=listed(named),
        limit="sync, speed and sparks right",
        trials=tries,
        seconds=source.turned_s,
        repeat=source.repeat(f"edgewheel diagnose {source.bench_path}"),
        evidence=lambda: [{"kind": "diagnosis", "steps": found["steps"]}],
    )
    tested = (
        "Whether the controller finds sync, speed and spark angle rightly, and if not, which of "
        f"its settings is wrong, by varying the signal. {source.setting}"
    )
    return make_report(source, grade, answer, tested, _remedies(source, found), [test])


def _remedies(source: Source, found: Any) -> list[Advice]:
    """What a diagnosis says to do."""
    perhaps = "" if found["complete"] else f"{PERHAPS}: "
    advice = [Advice(perhaps + finding["remedy"]) for finding in found["findings"]]
    if not found["complete"]:
        told = "Look at the wiring, the supply of the sensors, and settings that no signal shows."
        advice.append(Advice(told))
    further = f"edgewheel threshold {source.bench_path} speed --from 1000 --to 8000"
    return advice or [Advice("Find its limits at other speeds.", further)]


def _threshold_answer(found: Any) -> str:
    if found["threshold"] is None:
        return f"No threshold of {found['address']} was found between the ends that were searched"
    return f"The controller fails {found['fails']} {found['address']} = {found['threshold']:.6g}"


def _threshold_advice(source: Source, found: Any) -> list[Advice]:
    what, unit = axis_parts(found["address"])
    if found["threshold"] is None:
        if found["found"] == Found.SEVERAL:
            return [
                Advice("Search a part of the range: from where it holds to where it fails first.")
            ]
        further = "Search between values further apart"
        if found["found"] == Found.BEYOND:
            return [Advice(f"{further}.")]
        if not found["failed_trials"]:
            return [Advice(f"{further}, or up to one that fails between these.")]
        told = f"It fails where {what} cannot be the cause. Let the tool find the wrong setting."
        return [Advice(told, f"edgewheel diagnose {source.bench_path}")]
    safe = safe_end(found, float(source.summary.get("probability", 0.5)))
    side = "below" if found["fails"] == "above" else "above"
    if not found["from"] <= safe <= found["to"]:
        way = "down" if side == "below" else "up"
        return [Advice(f"No value of {what} that was tried is safe. Search further {way}.")]
    often = f", where {100 * SELDOM:g} % of trials fail," if found["spread"] else ","
    margin = "and leave a margin for the scatter of parts"
    return [Advice(f"Keep {what} {side} {number(safe)}{unit}{often} {margin}.")]


def _interval(found: Any) -> str:
    if found["threshold"] is None:
        return "no threshold"
    low, high = number(found["low"], 6), number(found["high"], 6)
    return f"{number(found['threshold'], 6)} ({low} to {high})"


def _range(axis_data: Any) -> str:
    return f"{number(axis_data['from'])} to {number(axis_data['to'])}"


def _words(axis_data: Any) -> str:
    ends = f"{axis_data['from']:.10g} {axis_data['to']:.10g}"
    return f"{quote(axis_data['address'])} {ends}"


def _run_up(source: Source) -> str:
    """The options of the trials' motion, where it is not the usual one."""
    told = source.summary.get("run_up") or {}
    usual = RunUp().as_data()
    options = {"speed_rpm": "--speed", "rpm_per_s": "--rate", "hold_s": "--hold"}
    return "".join(f" {options[key]} {told[key]}" for key in told if told[key] != usual.get(key))
