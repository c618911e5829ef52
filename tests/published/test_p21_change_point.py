"""P21: the Nile at Aswan, 1871-1970 (Cobb 1978, Biometrika 65:243-251); figures of R package strucchange 1.5.3."""

import numpy as np
import pytest

from qckit import charts

NILE = """1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100 1210 1150
1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456 824 702 1120 1100 832 764 821 768
845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822 1010 771 676 649 846 812 742 801 1040 860 874 848 890
744 749 838 1050 918 986 797 923 975 815 1020 906 901 1170 912 746 919 718 714 740"""


def test_one_change_after_1898():
    flow = np.array(NILE.split(), float)
    found = charts.find_changes(flow, shortest=15, interval="large sample")
    assert found.n_changes == 1
    change = found.changes[0]
    assert 1870 + change.last_before == 1898
    assert [change.mean_before, change.mean_after] == pytest.approx([1097.75, 849.972222], abs=1e-6)
    assert found.rss == pytest.approx(1597457.194, abs=1e-3)
    assert found.bic[:3] == pytest.approx([1318.242, 1270.084, 1276.467], abs=1e-3)
    assert (change.low, change.high) == (25, 32)
    # the interval that the kit uses lies within it: 1896 to 1899
    likely = charts.find_changes(flow, shortest=15).changes[0]
    assert (likely.last_before, likely.low, likely.high) == (28, 26, 29)


def test_none_when_asked_for_none():
    found = charts.find_changes(np.array(NILE.split(), float), n_changes=0)
    assert found.changes == [] and found.rss == pytest.approx(2835156.75)
