import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child that its parent died")


def test_a_child_whose_parent_is_gone_already_ends() -> None:
    program = "from portal.processes import die_with; die_with(1); print('lived on')"

    orphan = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)

    assert (orphan.returncode, orphan.stdout) == (1, "")


def test_a_child_lives_on_with_its_parent() -> None:
    program = f"from portal.processes import die_with; die_with({os.getpid()}); print('lived on')"

    child = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)

    assert (child.returncode, child.stdout) == (0, "lived on\n")
