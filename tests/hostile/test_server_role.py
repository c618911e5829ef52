"""The role that the README makes on a server, by its own SQL: enough to work with, and nothing beyond its schema."""

import re
import zipfile
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from qckit.log import export_zip, new_site, open_log, restore

README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.mark.server
def test_the_role_of_the_readme(tmp_path, postgres_server):
    import psycopg

    sql = re.search(r"```sql\n(CREATE ROLE.*?)```", README.read_text("utf-8"), re.DOTALL)[1]
    name = "hatches_of_the_readme"
    sql = sql.replace("DATABASE hatches", f"DATABASE {name}").replace("PASSWORD '...'", "PASSWORD 'pw'")
    first, second = sql.split(r"\c hatches")
    admin = sa.make_url(postgres_server).set(drivername="postgresql")

    def plain(**changes):
        return admin.set(**changes).render_as_string(hide_password=False)

    def do(url, text):
        with psycopg.connect(url, autocommit=True) as connection:
            for statement in filter(str.strip, text.split(";\n")):
                connection.execute(statement)

    try:
        do(plain(), first)
        do(plain(database=name), second)
        url = sa.make_url(postgres_server).set(username="room", password="pw", database=name)
        url = url.render_as_string(hide_password=False)
        site = new_site(tmp_path / "site", url=url)
        with open_log(site) as log:
            log.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="a")
            log.correct("lots", "L-1", "origin", "pond", by="a", reason="r")
            assert log.check().empty
            package = export_zip(log, tmp_path / "a.zip")
            for file in (package, log.backup(tmp_path / "b")):
                with zipfile.ZipFile(file) as packed:
                    assert not any(b"room:pw" in packed.read(member) for member in packed.namelist())
        with open_log(new_site(tmp_path / "other")) as _:
            pass
        restore(package, tmp_path / "other")
        with open_log(tmp_path / "other") as log:
            assert log.lots()["origin"].tolist() == ["pond"]
        room = plain(username="room", password="pw", database=name)
        for beyond in (
            "COPY (SELECT 1) TO PROGRAM 'id'",
            "COPY (SELECT 1) TO '/tmp/x'",
            "CREATE TABLE public.x (a int)",
            "CREATE DATABASE y",
            "CREATE ROLE z",
            "SELECT pg_read_file('/etc/passwd')",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                do(room, beyond)
        with psycopg.connect(room) as connection:
            (schemas,) = zip(*connection.execute("SELECT DISTINCT schemaname FROM pg_tables WHERE tableowner = 'room'"))
            assert schemas == ("room",)
    finally:
        do(plain(), f"DROP DATABASE IF EXISTS {name} WITH (FORCE);\nDROP ROLE IF EXISTS room;\n")
