"""History over OPC UA, asked of the library's own server on this machine."""

import ast
import asyncio
import socket
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from asyncua import Server, ua
from asyncua.server.history import HistoryDict
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from processes import PATIENCE_S

from pipeline.base.errors import ConfigError, DataError
from pipeline.cli.app import run
from pipeline.lake.coverage import lake_of
from pipeline.mill.description import load_mill
from pipeline.sources import opcua, sources
from pipeline.sources.sources import pull_sources
from pipeline.store.folders import store_of

START = datetime(2025, 10, 6, 5, tzinfo=UTC)  # midnight of 6 October in Chicago
NOW = START + timedelta(hours=12)
TAGS = ("ST.TI304", "CT.LI401", "ST.AI308")
UNCERTAIN, BAD = ua.StatusCodes.UncertainLastUsableValue, ua.StatusCodes.BadSensorFailure
MILL = """
[mill]
name = "Brindlewater"
key = "brindlewater"
zone = "America/Chicago"
store = "store"
sucrose_price_per_t = 520.0
currency = "USD"

[[source]]
name = "plant"
kind = "opcua"
url = "{url}"
node_pattern = "ns=2;s={{tag}}"
window_h = 5
timeout_s = {timeout}
{more}

[tags."ST.TI304"]
quantity = "temperature"
place = "settler"
port = "inside"
unit = "K"
range = [280.0, 400.0]

[tags."CT.LI401"]
quantity = "level"
place = "clear_juice_tank"
unit = "%"
range = [0.0, 105.0]

[tags."ST.AI308"]
quantity = "ph"
place = "settler"
port = "out"
unit = "pH"
range = [3.5, 12.0]
"""


class Plant:
    """A server with history, living in a thread of its own."""

    def __init__(self, certificates=None):
        self.certificates = certificates
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.url = f"opc.tcp://127.0.0.1:{probe.getsockname()[1]}/plant"
        self.asked = []
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self._live, daemon=True)
        self.thread.start()
        try:
            self.do(self._begin())
        except BaseException:
            self._stop_thread()
            raise

    def _live(self):
        asyncio.set_event_loop(self.loop)
        self.loop.run_forever()

    def do(self, work):
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(PATIENCE_S)

    async def _begin(self):
        self.server = Server()
        await self.server.init()
        self.server.set_endpoint(self.url)
        policy = ua.SecurityPolicyType.NoSecurity
        if self.certificates is not None:
            policy = ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt
            await self.server.load_certificate(str(self.certificates / "server.der"))
            await self.server.load_private_key(str(self.certificates / "server.pem"))
        self.server.set_security_policy([policy])
        # Small pages, so that a window takes several.
        self.storage = HistoryDict(max_history_data_response_size=100)
        self.server.iserver.history_manager.set_storage(self.storage)
        await self.server.register_namespace("urn:brindlewater")
        for tag in TAGS:
            node = await self.server.nodes.objects.add_variable(
                ua.NodeId(tag, 2), tag, 0.0, ua.VariantType.Double
            )
            await self.storage.new_historized_node(node.nodeid, None)
        await self.server.start()

    def put(self, tag, at, value, status=0):
        variant = ua.Variant(value)
        entry = ua.DataValue(variant, ua.StatusCode(status), SourceTimestamp=at)
        self.storage._datachanges[ua.NodeId(tag, 2)].append(entry)

    def end(self):
        try:
            self.do(self.server.stop())
        finally:
            self._stop_thread()

    def _stop_thread(self):
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(PATIENCE_S)
        self.loop.close()


@pytest.fixture
def plant(monkeypatch, request):
    monkeypatch.setattr(sources, "now", lambda: NOW)
    made = Plant()
    request.addfinalizer(made.end)
    for n in range(12 * 60):
        at = START + timedelta(minutes=n)
        made.put("ST.TI304", at, 370.65 + 0.001 * n)
        made.put("CT.LI401", at, 35)
    for n, status in enumerate((0, UNCERTAIN, BAD)):
        made.put("ST.AI308", START + timedelta(hours=n), 6.95, status)
    return made


def mill_with(folder, url, more="", timeout=10, pattern=None):
    text = MILL.format(url=url, more=more, timeout=timeout)
    if pattern is not None:
        text = text.replace('node_pattern = "ns=2;s={tag}"', pattern)
    (folder / "mill.toml").write_text(text, encoding="utf-8")
    return load_mill(folder / "mill.toml")


def test_history_fills_lake_and_ledger(tmp_path, plant):
    mill = mill_with(tmp_path, plant.url)
    (result,) = pull_sources(mill, first=START.date())
    lake = lake_of(mill).read_readings(START.date(), NOW.date())
    counts = dict(lake.group_by("tag").len().iter_rows())
    assert counts == {"ST.TI304": 720, "CT.LI401": 720, "ST.AI308": 3}
    temps = lake.filter(pl.col("tag") == "ST.TI304")["value"]
    # 0 degC is 273.15 K exactly (SI Brochure, 9th edition).
    assert temps[0] == pytest.approx(97.5)
    ledger = store_of(mill).sources()
    total = ledger.select(pl.col("rows_kept", "rows_merged", "rows_refused").sum()).row(0)
    assert sum(total) == ledger["rows_read"].sum() == 1443
    assert result.problems == {}
    assert store_of(mill).source_mark("plant") == NOW - timedelta(minutes=1)


@pytest.mark.slow
def test_quality_follows_the_severity_of_the_status_code(tmp_path, plant):
    mill = mill_with(tmp_path, plant.url, 'good_words = ["good", "uncertain"]')
    pull_sources(mill, first=START.date())
    lake = lake_of(mill).read_readings(START.date(), NOW.date(), ["ST.AI308"])
    assert lake["bad"].to_list() == [False, False, True]


@pytest.mark.slow
def test_the_next_run_reads_what_is_new_and_what_came_late(tmp_path, plant, monkeypatch):
    mill = mill_with(tmp_path, plant.url, "overlap_h = 1")
    pull_sources(mill, first=START.date())
    plant.put("CT.LI401", NOW - timedelta(minutes=20, seconds=30), 36)
    plant.put("CT.LI401", NOW + timedelta(minutes=1), 37)
    monkeypatch.setattr(sources, "now", lambda: NOW + timedelta(hours=1))
    (result,) = pull_sources(mill)
    assert result.start == NOW - timedelta(minutes=61)
    lake = lake_of(mill).read_readings(START.date(), NOW.date(), ["CT.LI401"])
    assert lake.height == 722


def test_a_node_that_is_not_there_is_told_and_the_others_are_read(tmp_path, plant):
    nodes = 'nodes = {"ST.TI304" = "ns=2;s=ST.TI304", "CT.LI401" = "ns=2;s=NOT THERE"}'
    mill = mill_with(tmp_path, plant.url, pattern=nodes)
    plant.do(_refuse_unknown(plant))
    (result,) = pull_sources(mill, first=START.date())
    assert set(result.problems) == {"CT.LI401"}
    told = "\n".join(sources.source_summary(mill, result))
    assert "CT.LI401: not read" in told
    assert lake_of(mill).read_readings(START.date(), NOW.date()).height == 720


async def _refuse_unknown(plant):
    """Make the server refuse history of nodes it does not have, as the standard asks."""
    read = plant.storage.read_node_history

    async def strict(node, *arguments):
        if node not in plant.storage._datachanges:
            raise ua.UaStatusCodeError(ua.StatusCodes.BadNodeIdUnknown)
        return await read(node, *arguments)

    plant.storage.read_node_history = strict


def test_pages_that_never_end_are_refused(tmp_path, plant):
    plant.do(_repeat_pages(plant))
    mill = mill_with(tmp_path, plant.url)
    with pytest.raises(DataError) as caught:
        pull_sources(mill, first=START.date())
    assert "without end" in str(caught.value)


async def _repeat_pages(plant):
    read = plant.storage.read_node_history

    async def endless(node, *arguments):
        values, _ = await read(node, *arguments)
        return values, START

    plant.storage.read_node_history = endless


def test_a_server_that_is_not_there(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "now", lambda: NOW)
    mill = mill_with(tmp_path, "opc.tcp://127.0.0.1:1/plant", timeout=2)
    with pytest.raises(DataError) as caught:
        pull_sources(mill, first=START.date())
    assert "cannot be reached" in caught.value.what or "did not answer" in caught.value.what
    assert run(["pull", str(tmp_path / "mill.toml"), "--from-source"]) == 3


def test_a_server_that_does_not_answer(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "now", lambda: NOW)
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        mill = mill_with(tmp_path, f"opc.tcp://127.0.0.1:{mute.getsockname()[1]}", timeout=1)
        with pytest.raises(DataError) as caught:
            pull_sources(mill, first=START.date())
    assert "did not answer within 1 s" in caught.value.what


@pytest.mark.parametrize(
    ("more", "pattern", "words"),
    [
        ("", 'nodes = {"ST.TI304" = "no node"}', "no node of OPC UA"),
        ("", 'nodes = {"another" = "ns=2;s=x"}', "No tag of the description"),
        ('user = "reader"\npassword_env = "LOSTPOL_TEST_UNSET"', None, "LOSTPOL_TEST_UNSET"),
    ],
)
def test_what_cannot_work_is_told(tmp_path, monkeypatch, more, pattern, words):
    monkeypatch.setattr(sources, "now", lambda: NOW)
    mill = mill_with(tmp_path, "opc.tcp://127.0.0.1:1", more, 2, pattern)
    with pytest.raises(ConfigError) as caught:
        pull_sources(mill, first=START.date())
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("url", "more", "pattern", "words"),
    [
        ("opc.tcp://plant:4840", 'user = "reader"', None, "in the clear"),
        ("opc.tcp://plant:4840", 'security = "sign"', None, "does not fit the certificate"),
        ("https://plant", "", None, "no OPC UA address"),
        ("opc.tcp://plant:4840", "", "", "which node holds which tag"),
    ],
)
def test_faults_of_the_description(tmp_path, url, more, pattern, words):
    with pytest.raises(ConfigError) as caught:
        mill_with(tmp_path, url, more, pattern=pattern)
    assert words in str(caught.value)


def certificate(folder, name):
    """A self-signed certificate and its key, as a test server and its client use."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)])
    uri = x509.UniformResourceIdentifier(f"urn:brindlewater:{name}")
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime(2025, 1, 1, tzinfo=UTC))
        .not_valid_after(datetime(2125, 1, 1, tzinfo=UTC))
        .add_extension(x509.SubjectAlternativeName([uri]), critical=False)
        .sign(key, hashes.SHA256())
    )
    (folder / f"{name}.der").write_bytes(made.public_bytes(serialization.Encoding.DER))
    (folder / f"{name}.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


def test_signed_and_encrypted(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "now", lambda: NOW)
    for name in ("own", "server"):
        certificate(tmp_path, name)
    plant = Plant(certificates=tmp_path)
    try:
        plant.put("CT.LI401", START, 35)
        more = 'security = "sign_and_encrypt"\ncertificate = "own.der"\nprivate_key = "own.pem"'
        mill = mill_with(tmp_path, plant.url, more + '\nserver_certificate = "server.der"')
        pull_sources(mill, first=START.date())
        assert lake_of(mill).read_readings(START.date(), NOW.date()).height == 1
        with pytest.raises(DataError):
            pull_sources(mill_with(tmp_path, plant.url), first=START.date())
    finally:
        plant.end()


@pytest.mark.slow
def test_a_missing_certificate_is_told(tmp_path, plant):
    more = 'security = "sign"\ncertificate = "own.der"\nprivate_key = "own.pem"'
    mill = mill_with(tmp_path, plant.url, more)
    with pytest.raises(ConfigError) as caught:
        pull_sources(mill, first=START.date())
    assert "no such certificate" in str(caught.value)


def test_the_client_calls_nothing_that_writes():
    """Every call on a client or node is one of a few that read; a new one must be put here."""
    tree = ast.parse(Path(opcua.__file__).read_text(encoding="utf-8"))
    called = {
        node.func.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id in ("client", "node")
    }
    assert called == {"get_node", "history_read", "set_user", "set_password", "set_security"}
