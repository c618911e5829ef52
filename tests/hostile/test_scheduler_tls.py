"""Counting on a Dask scheduler over TLS, with certificates made here: it works, and no other certificate is taken."""

import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

from qckit.counting import Cluster, count_photos
from qckit.errors import InputError


def certificates(folder, name):
    """Make an authority and a certificate that it signed, for this machine; return the options of a scheduler."""

    def do(*words):
        subprocess.run(["openssl", *words], check=True, capture_output=True, cwd=folder)

    key = ("-newkey", "rsa:2048", "-nodes", "-days", "2")
    do(
        "req",
        "-x509",
        *key,
        "-keyout",
        f"{name}-ca.key",
        "-out",
        f"{name}-ca.pem",
        "-subj",
        f"/CN={name} test authority",
    )
    do("req", *key[:3], "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", "/CN=localhost")
    (folder / f"{name}.ext").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1\n")
    signed = ("-CA", f"{name}-ca.pem", "-CAkey", f"{name}-ca.key", "-CAcreateserial", "-extfile", f"{name}.ext")
    do("x509", "-req", "-in", f"{name}.csr", *signed, "-days", "2", "-out", f"{name}.pem")
    ends = {"ca": "-ca.pem", "cert": ".pem", "key": ".key"}
    return {what: str(folder / f"{name}{end}") for what, end in ends.items()}


@pytest.mark.slow
def test_counting_over_tls(tmp_path, sound):
    distributed = pytest.importorskip("distributed")
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine to make certificates with")
    pixels, scale = sound
    Image.fromarray(np.ascontiguousarray(pixels[:300, :400])).save(tmp_path / "a.png")
    ours, theirs = certificates(tmp_path, "ours"), certificates(tmp_path, "theirs")
    security = distributed.Security(
        require_encryption=True,
        tls_ca_file=ours["ca"],
        **{f"tls_{role}_{what}": ours[what] for role in ("scheduler", "worker", "client") for what in ("cert", "key")},
    )
    with distributed.LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        dashboard_address=None,
        host="127.0.0.1",
        protocol="tls",
        security=security,
    ) as cluster:
        address = cluster.scheduler_address
        assert address.startswith("tls://")
        far = count_photos(tmp_path / "a.png", scale, workers=Cluster(address, ours))
        near = count_photos(tmp_path / "a.png", scale)
        assert far.counts.drop(columns="seconds").equals(near.counts.drop(columns="seconds"))
        for tls, where in ((theirs, address), (ours | {"ca": theirs["ca"]}, address)):
            with pytest.raises(InputError, match="no Dask scheduler answers at tls://"):
                count_photos(tmp_path / "a.png", scale, workers=Cluster(where, tls))
        with pytest.raises(InputError, match="no Dask scheduler answers at tcp://"):
            count_photos(tmp_path / "a.png", scale, workers=Cluster(address.replace("tls://", "tcp://")))
