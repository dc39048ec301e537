"""The JUnit file, as a CI server would read it."""

from dataclasses import replace
from xml.etree import ElementTree as Xml

from edgewheel.report.junit import junit_xml
from edgewheel.report.model import Grade, Report
from edgewheel.report.model import Test as Part
from edgewheel.report.read import read_report
from records import HOSTILE, bench_file, made_by, suite_record


def of_suite(tmp_path):
    return Xml.fromstring(junit_xml(read_report(suite_record(tmp_path / "suite"))))


def test_counts_and_verdicts(tmp_path):
    root = of_suite(tmp_path)
    (suite,) = root
    for element in (root, suite):
        counts = [element.get(key) for key in ("tests", "failures", "errors", "skipped")]
        assert counts == ["4", "1", "1", "0"]
    passed, failed, marginal, error = suite.findall("testcase")
    assert failed.find("failure").get("message") == "It failed."
    assert error.find("error") is not None
    assert passed.find("failure") is None and marginal.find("failure") is None


def test_provenance_stands_in_the_properties(tmp_path):
    (suite,) = of_suite(tmp_path)
    told = {one.get("name"): one.get("value") for one in suite.find("properties")}
    assert (told["Seed"], told["edgewheel"]) == ("11", "0.1.0")
    assert told["Repeat"] == "edgewheel qualify plan.yaml"
    case = {one.get("name"): one.get("value") for one in suite.find("testcase/properties")}
    assert case["verdict"] == "passed"
    assert case["measured"] == "7,398 rpm (7,359 to 7,438)"
    assert case["repeat"] == "edgewheel qualify plan.yaml --only highest_up"


def test_a_sweep_gives_a_case_a_point(tmp_path):
    run = made_by(tmp_path, "sweep", str(bench_file(tmp_path)))
    suite = Xml.fromstring((run / "junit.xml").read_text()).find("testsuite")
    names = [case.get("name") for case in suite.findall("testcase")]
    assert len(names) == 11
    assert names[0] == "5,000 rpm, on the way up"
    engine_s = 5000 / 8000 + 1 + 11 * 0.15 + 10 * 250 / 8000
    assert abs(float(suite.get("time")) - engine_s) < 0.001
    assert int(suite.get("failures")) == len(suite.findall("testcase/failure")) > 0


def test_what_a_controller_says_cannot_break_the_file():
    words = f"it says: \x00\x1b[31m\ud800 {HOSTILE} ]]> &"
    part = Part("run", words, Grade.FAILED, words)
    report = Report("run", words, Grade.FAILED, words, "", (), (part,), (), (), "")
    case = Xml.fromstring(junit_xml(report)).find("testsuite/testcase")
    message = case.find("failure").get("message")
    assert HOSTILE in message and "\x00" not in message
    stopped = replace(report, tests=(replace(part, grade=Grade.STOPPED),))
    assert Xml.fromstring(junit_xml(stopped)).find("testsuite/testcase/skipped") is not None
