"""The list of planted faults is in step with the code: each can be planted, and its tests are there.

That the suite catches each of them is shown by ``python tests/planted_faults.py``, which takes some minutes.
"""

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.planted_faults import FAULTS, ROOT, Fault, main

# Every room of the house, and the shop content; one file may hold several faults.
ROOMS = (
    "fixture3d/units.py",
    "fixture3d/frame.py",
    "fixture3d/tolerance.py",
    "fixture3d/cache.py",
    "fixture3d/output.py",
    "fixture3d/part.py",
    "fixture3d/scene/",
    "fixture3d/stock/",
    "fixture3d/solid/",
    "fixture3d/access/",
    "fixture3d/welding/",
    "fixture3d/locating/",
    "fixture3d/accuracy/",
    "fixture3d/corners/",
    "fixture3d/shrinkage/",
    "fixture3d/setting/",
    "fixture3d/job/",
    "fixture3d/checks/",
    "fixture3d/report/",
    "fixture3d/sheet/",
    "fixture3d/preview/",
    "fixture3d/export/",
)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_each_can_be_planted(fault: Fault) -> None:
    text = (ROOT / fault.file).read_text(encoding="utf-8")
    assert text.count(fault.old) == 1
    assert fault.new != fault.old
    compile(text.replace(fault.old, fault.new), fault.file, "exec")


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_the_tests_that_must_notice_are_there(fault: Fault) -> None:
    assert fault.paths
    for path in fault.paths:
        file, _, name = path.partition("[")[0].partition("::")
        text = (ROOT / file).read_text(encoding="utf-8")
        assert re.search(rf"^def {name or 'test_[a-z0-9_]+'}\(", text, re.MULTILINE)


def test_there_are_enough_and_no_room_is_left_out() -> None:
    assert len(FAULTS) >= 40
    assert max(Counter(fault.name for fault in FAULTS).values()) == 1
    assert not [room for room in ROOMS if not any(fault.file.startswith(room) for fault in FAULTS)]
    models = {path.stem for path in Path(ROOT / "models").glob("[a-z]*.py")}
    assert models == {Path(fault.file).stem for fault in FAULTS if fault.file.startswith("models/")} - {
        "_gauge",
        "_profiles",
        "_serration",
        "_swing",
        "_vee",
    }


def test_an_unknown_fault_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--only", "nothing of the kind"]) == 2
    assert "nothing of the kind" in capsys.readouterr().err
