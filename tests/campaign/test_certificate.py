"""Records whose points stand in a digital calibration certificate."""

import datetime
import hashlib
import socket

import numpy as np
import pytest

from rigdata.campaign.dcc import MOST_BYTES, read_certificate
from rigdata.campaign.records import read_record
from rigdata.errors import CampaignError, Severity

FORCES = "0 5 10 15 20 10 0 0 10 20"
KELVIN, CELSIUS = r"\kelvin", r"\degreecelsius"
VOLTS = "0.001 0.501 1.002 1.502 2.003 1.004 0.002 0.001 1.003 2.002"


def old(values: str, unit: str, u: str = "", k: str = "2") -> str:
    """Write a list as D-SI up to 2.1 does."""
    spread = (
        f"<si:expandedUncXMLList><si:uncertaintyXMLList>{u}</si:uncertaintyXMLList>"
        f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList>"
        "<si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList>"
        "</si:expandedUncXMLList>"
    )
    return (
        f"<si:realListXMLList><si:valueXMLList>{values}</si:valueXMLList>"
        f"<si:unitXMLList>{unit}</si:unitXMLList>{spread if u else ''}</si:realListXMLList>"
    )


def new(values: str, unit: str, u: str = "", k: str = "2") -> str:
    """Write a list as D-SI from 2.2 on does."""
    spread = (
        "<si:measurementUncertaintyUnivariateXMLList><si:expandedMUXMLList>"
        f"<si:valueExpandedMUXMLList>{u}</si:valueExpandedMUXMLList>"
        f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList>"
        "<si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList>"
        "</si:expandedMUXMLList></si:measurementUncertaintyUnivariateXMLList>"
    )
    return (
        f"<si:realListXMLList><si:valueXMLList>{values}</si:valueXMLList>"
        f"<si:unitXMLList>{unit}</si:unitXMLList>{spread if u else ''}</si:realListXMLList>"
    )


def one(value: str, unit: str, u: str = "", k: str = "2") -> str:
    """Write one value alone, in the old spelling."""
    spread = (
        f"<si:expandedUnc><si:uncertainty>{u}</si:uncertainty>"
        f"<si:coverageFactor>{k}</si:coverageFactor></si:expandedUnc>"
    )
    return (
        f"<si:real><si:value>{value}</si:value><si:unit>{unit}</si:unit>"
        f"{spread if u else ''}</si:real>"
    )


def quantity(kind: str, form: str) -> str:
    name = "<dcc:name><dcc:content lang='en'>a name</dcc:content></dcc:name>"
    return f'<dcc:quantity refType="{kind}">{name}{form}</dcc:quantity>'


def listed(*quantities: str) -> str:
    return (
        f"<dcc:result><dcc:data><dcc:list>{''.join(quantities)}</dcc:list></dcc:data></dcc:result>"
    )


def both(dialect=old, u: str = "0.004 0.004 0.006 0.009 0.012 0.006 0.004 0.004 0.006 0.012"):
    return listed(
        quantity("basic_referenceValue force_increasing", dialect(FORCES, r"\kilo\newton", u)),
        quantity("basic_measuredValue", dialect(VOLTS, r"\milli\volt\per\volt")),
    )


WARM = (
    '<dcc:influenceConditions><dcc:influenceCondition refType="basic_temperature"><dcc:data>'
    + quantity(
        "basic_temperatureMin",
        f"<si:hybrid>{one('295.65', KELVIN)}{one('22.5', CELSIUS)}</si:hybrid>",
    )
    + quantity("basic_temperatureMax", one("23.5", CELSIUS))
    + "</dcc:data></dcc:influenceCondition></dcc:influenceConditions>"
)

CERTIFICATE = """<?xml version="1.0" encoding="UTF-8"?>
<dcc:digitalCalibrationCertificate schemaVersion="3.2.1"
    xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si">
<dcc:administrativeData><dcc:coreData>
<dcc:uniqueIdentifier>K-2026-017</dcc:uniqueIdentifier>
<dcc:beginPerformanceDate>2026-01-09</dcc:beginPerformanceDate>
<dcc:endPerformanceDate>2026-01-10Z</dcc:endPerformanceDate>
</dcc:coreData><dcc:items><dcc:item>
<dcc:manufacturer><dcc:name><dcc:content>Maker</dcc:content></dcc:name></dcc:manufacturer>
<dcc:model>L25</dcc:model>
<dcc:identifications><dcc:identification><dcc:value>0017</dcc:value></dcc:identification>
</dcc:identifications></dcc:item></dcc:items></dcc:administrativeData>
<dcc:measurementResults><dcc:measurementResult>{warm}<dcc:results>{results}</dcc:results>
</dcc:measurementResult>{more}</dcc:measurementResults>{end}
</dcc:digitalCalibrationCertificate>
"""

KEYS = """\
format = 1
certificate = "cert.xml"
valid_until = 2027-01-10
degree = 1
"""


@pytest.fixture
def make(tmp_path):
    def make(
        results: str | None = None, keys: str = "", *, xml: str = "", more="", end="", warm=WARM
    ):
        text = xml or CERTIFICATE.format(
            results=both() if results is None else results, more=more, end=end, warm=warm
        )
        (tmp_path / "cert.xml").write_bytes(text.encode())
        (tmp_path / "cert.toml").write_text(KEYS + keys)
        return tmp_path / "cert.toml"

    return make


@pytest.fixture(autouse=True)
def no_network(monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("a certificate must not reach for the network")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)


# --- what a record becomes


@pytest.mark.parametrize("dialect", [old, new])
def test_a_certificate_reads_as_a_record(make, dialect):
    path = make(both(dialect))
    record = read_record(path)
    assert (record.id, record.sensor) == ("K-2026-017", "Maker, L25, 0017")
    assert (record.quantity, record.applied_unit, record.indicated_unit) == ("force", "kN", "mV/V")
    assert record.date == datetime.date(2026, 1, 10)
    assert record.valid_until == datetime.date(2027, 1, 10)
    assert (record.degree, record.role) == (1, "as-left")
    assert record.temperature_c == pytest.approx(23.0)
    assert record.applied.tolist() == [0, 5, 10, 15, 20, 10, 0, 0, 10, 20]
    assert record.indicated[4] == 2.003
    assert record.direction.tolist() == ["up"] * 5 + ["down"] * 3 + ["up"] * 2
    assert record.series.tolist() == ["1"] * 8 + ["2"] * 2
    assert record.reference_u == pytest.approx(
        [0.002, 0.002, 0.003, 0.0045, 0.006, 0.003, 0.002, 0.002, 0.003, 0.006]
    )
    assert record.reference_expanded_u_percent == pytest.approx(0.06)
    assert record.coverage_factor == 2.0
    assert record.notices == ()
    xml = path.with_suffix(".xml")
    assert record.points == xml
    assert record.points_sha256 == hashlib.sha256(xml.read_bytes()).hexdigest()
    assert record.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_certificate_may_be_named_itself(make):
    path = make()
    record = read_record(path.with_suffix(".xml"))
    assert record.path == path
    path.write_text(KEYS.replace("cert.xml", "other.xml"))
    path.with_name("other.xml").write_bytes(path.with_suffix(".xml").read_bytes())
    with pytest.raises(CampaignError, match=r"cert\.toml, certificate: is other\.xml; .*cert\.xml"):
        read_record(path.with_suffix(".xml"))
    path.unlink()
    with pytest.raises(CampaignError, match=r"cert\.xml: a certificate needs cert\.toml beside it"):
        read_record(path.with_suffix(".xml"))


def test_the_namespace_does_not_matter_but_the_version_does(make):
    text = CERTIFICATE.format(results=both(), more="", end="", warm=WARM)
    assert read_record(make(xml=text.replace("ptb.de", "example.org"))).id == "K-2026-017"
    for wrong in ('"4.0.0"', '"1.9"', '""'):
        with pytest.raises(CampaignError, match="schema version"):
            read_record(make(xml=text.replace('"3.2.1"', wrong)))
    with pytest.raises(CampaignError, match="<invoice>"):
        read_record(make(xml="<invoice schemaVersion='3.2.1'/>"))


def test_one_uncertainty_for_all_points(make):
    record = read_record(make(both(old, "0.05")))
    assert record.reference_u == pytest.approx(np.full(10, 0.025))
    assert record.reference_expanded_u_percent == pytest.approx(100 * 0.05 / 20)
    assert read_record(make(both(lambda v, w, u="": old(v, w, u, "2.5")))).coverage_factor == 2.5


def test_a_hybrid_is_one_quantity_not_two(make):
    kelvin = old("273.15 323.15 373.15", r"\kelvin", "0.06")
    celsius = old("0 50 100", r"\degreecelsius", "0.06")
    odd = old("32 122 212", r"\degreefahrenheit", "0.108")
    shown = quantity("basic_measuredValue", old("0.1 50.2 99.9", r"\degreecelsius"))
    for order, unit in (
        (kelvin + celsius, "K"),
        (celsius + kelvin, "degC"),
        (odd + celsius, "degC"),
    ):
        hybrid = quantity("basic_referenceValue", f"<si:hybrid>{order}</si:hybrid>")
        record = read_record(make(listed(hybrid, shown)))
        assert record.applied.size == 3
        assert (record.applied_unit, record.quantity) == (unit, "temperature")
        assert record.reference_u == pytest.approx([0.03] * 3)


def test_units_are_turned_with_their_uncertainty(make):
    forces = new("0 1e6 2e6 3e6", r"\pascal", "3000")
    results = listed(
        quantity("basic_referenceValue", forces),
        quantity("basic_measuredValue", new("0 1 2 3", r"\volt")),
    )
    record = read_record(make(results))
    assert (record.applied_unit, record.applied.tolist()) == ("MPa", [0, 1, 2, 3])
    assert record.reference_u == pytest.approx([1.5e-3] * 4)


def test_the_largest_uncertainty_counts_wherever_it_stands(make):
    reference = quantity("basic_referenceValue", old("0 10 20", r"\newton", "0.02"))
    indicated = quantity("basic_measuredValue", old("0 1 2", r"\milli\volt\per\volt", "0.01", "4"))
    small = quantity("basic_measurementError", new("0 0 0", r"\kilo\newton", "0.00003"))
    percent = quantity("basic_measurementError", new("0 0 0", r"\percent", "1"))
    record = read_record(make(listed(reference, indicated, small, percent)))
    # 0.01 / 4 mV/V at 10 N/(mV/V) is 0.025 N; the others are 0.01 and 0.015 N.
    assert record.reference_u == pytest.approx([0.025] * 3)
    assert record.coverage_factor == 4.0
    record = read_record(
        make(listed(reference, small, percent, indicated.replace("0.01<", "0.0001<")))
    )
    assert record.reference_u == pytest.approx([0.015] * 3)


def test_results_of_one_value_each_are_one_passage(make):
    results = "".join(
        "<dcc:result><dcc:data>"
        + quantity("basic_referenceValue", one(a, r"\newton\metre", "0.1"))
        + quantity("basic_measuredValue", one(i, r"\volt"))
        + "</dcc:data></dcc:result>"
        for a, i in zip(["0", "50", "100", "50", "0"], ["0", "1", "2", "1.01", "0.01"], strict=True)
    )
    record = read_record(make(results))
    assert record.applied.tolist() == [0, 50, 100, 50, 0]
    assert record.series.tolist() == ["1"] * 5
    assert record.direction.tolist() == ["up"] * 3 + ["down"] * 2


def test_several_passages_on_one_reference_list(make):
    results = listed(
        quantity("basic_referenceValue", old("0 10 20", r"\newton", "0.02")),
        quantity("basic_measuredValue", old("0 1 2", r"\volt")),
        quantity("basic_measuredValue", old("0 1.01 2.01", r"\volt")),
    ) + listed(
        quantity("basic_referenceValue", old("20 10 0", r"\newton", "0.02")),
        quantity("basic_measuredValue", old("2 1 0", r"\volt")),
    )
    record = read_record(make(results))
    assert record.series.tolist() == ["1"] * 3 + ["2"] * 3 + ["3"] * 3
    assert record.direction.tolist() == ["up"] * 6 + ["down"] * 3
    assert record.indicated.tolist() == [0, 1, 2, 0, 1.01, 2.01, 2, 1, 0]


def test_a_mapping_by_reference_type_or_number(make):
    results = listed(
        quantity("lab_nominal", old("0 10 20", r"\newton")),
        quantity("lab_true", old("0 10.01 20.01", r"\newton", "0.02")),
        quantity("lab_shown", old("0 1 2", r"\volt")),
    )
    by_type = read_record(make(results, 'applied = "lab_true"\nindicated = "lab_shown"\n'))
    by_number = read_record(make(results, "applied = 2\nindicated = 3\n"))
    for record in (by_type, by_number):
        assert record.applied.tolist() == [0, 10.01, 20.01]
        assert record.indicated.tolist() == [0, 1, 2]
    with pytest.raises(CampaignError, match=r"lab_nominal, lab_shown, lab_true"):
        read_record(make(results))
    with pytest.raises(CampaignError, match="quantity 4 of 3"):
        read_record(make(results, "applied = 4\nindicated = 3\n"))
    with pytest.raises(CampaignError, match=r"quantity 1\.5 of 3"):
        read_record(make(results, "applied = 1.5\nindicated = 3\n"))


def test_as_found_and_as_left_in_one_certificate(make):
    left = (
        "<dcc:measurementResult>"
        + WARM
        + "<dcc:results>"
        + both()
        + "</dcc:results></dcc:measurementResult>"
    )
    found = both().replace("2.003", "2.103")
    with pytest.raises(CampaignError, match=r"measurement: the certificate holds 2 measurement"):
        read_record(make(found, more=left))
    keys = 'measurement = 1\nrole = "as-found"\nid = "K-17a"\n'
    record = read_record(make(found, keys, more=left))
    assert (record.id, record.role, record.indicated[4]) == ("K-17a", "as-found", 2.103)
    assert read_record(make(found, "measurement = 2\n", more=left)).indicated[4] == 2.003
    with pytest.raises(CampaignError, match="measurement"):
        read_record(make(found, "measurement = 3\n", more=left))


def test_keys_stand_in_for_what_the_certificate_does_not_say(make):
    bare = CERTIFICATE.format(results=both(old, ""), more="", end="", warm="")
    bare = bare.replace("K-2026-017", "https://lab.example/K/17").replace("dcc:item>", "dcc:x>")
    keys = ""
    for missing, line in (
        ("id", 'id = "K-17"'),
        ("sensor", 'sensor = "Maker L25 no. 17"'),
        ("temperature_c", "temperature_c = 21"),
        (
            "reference_expanded_u_percent",
            "reference_expanded_u_percent = 0.06\ncoverage_factor = 2",
        ),
    ):
        with pytest.raises(CampaignError, match=rf"cert\.toml, {missing}: "):
            read_record(make(keys=keys, xml=bare))
        keys += line + "\n"
    record = read_record(make(keys=keys, xml=bare))
    assert (record.id, record.temperature_c) == ("K-17", 21.0)
    assert record.reference_u is None
    assert record.reference_expanded_u_percent == 0.06


def test_a_relative_uncertainty_is_not_read_and_that_is_said(make):
    relative = both(old, "").replace("</dcc:quantity>", "<dcc:relativeUncertainty/></dcc:quantity>")
    with pytest.raises(CampaignError, match="no expanded uncertainty but a relative one"):
        read_record(make(relative))


def test_two_statements_of_one_uncertainty_are_one_too_many(make):
    keys = "reference_expanded_u_percent = 0.06\ncoverage_factor = 2\n"
    with pytest.raises(CampaignError, match="states its uncertainty itself"):
        read_record(make(keys=keys))
    with pytest.raises(CampaignError, match="coverage_factor: the key is missing"):
        read_record(make(keys="reference_expanded_u_percent = 0.06\n"))


def test_a_signature_is_told_as_not_verified(make):
    end = '<ds:Signature xmlns:ds="http://www.w3.org/2000/09/xmldsig#"><ds:x/></ds:Signature>'
    record = read_record(make(end=end))
    (notice,) = record.notices
    assert notice.severity is Severity.NOTE
    assert "signature, which was not verified" in notice.what


def test_the_rules_of_every_record_hold(make):
    path = make()
    path.write_text(path.read_text().replace("2027-01-10", "2026-01-09"))
    with pytest.raises(CampaignError, match=r"valid_until: .*before the calibration"):
        read_record(path)
    three = listed(
        quantity("basic_referenceValue", old("0 1 2", r"\newton", "1")),
        quantity("basic_measuredValue", old("0 1 2", r"\volt")),
    )
    path = make(three)
    path.write_text(path.read_text().replace("degree = 1", "degree = 2"))
    with pytest.raises(CampaignError, match="3 distinct applied values"):
        read_record(path)
    with pytest.raises(CampaignError, match=r"cert\.toml, points: unknown key"):
        read_record(make(keys='points = "x.csv"\n'))


@pytest.mark.parametrize(
    ("applied", "ways", "series"),
    [
        ("0 1 2 2 1 0", "uuuudd", "111111"),
        ("2 1 0 1 2", "ddduu", "11122"),
        ("0 -1 -2 -1 0", "uuudd", "11111"),
        ("-2 -1 0 1 2", "uuuuu", "11111"),
        ("0 2 0 1 0 2", "uududu", "111223"),
    ],
)
def test_directions_and_series_follow_the_applied_values(make, applied, ways, series):
    results = listed(
        quantity("basic_referenceValue", old(applied, r"\newton", "1")),
        quantity("basic_measuredValue", old(applied, r"\volt")),
    )
    path = make(results)
    record = read_record(path)
    assert [way[0] for way in record.direction] == list(ways)
    assert record.series.tolist() == list(series)


# --- faults in the numbers

SPOILT = {
    "k missing": (
        "<si:coverageFactorXMLList>2</si:coverageFactorXMLList>",
        "",
        "no coverageFactor",
    ),
    "k empty": ("XMLList>2</si:cov", "XMLList> </si:cov", "no coverageFactor"),
    "k zero": ("XMLList>2</si:cov", "XMLList>0</si:cov", "factor is not above 0"),
    "k negative": ("XMLList>2</si:cov", "XMLList>-2</si:cov", "factor is not above 0"),
    "k is text": ("XMLList>2</si:cov", "XMLList>two</si:cov", "coverageFactor is 'two'"),
    "too many k": ("XMLList>2</si:cov", "XMLList>2 2</si:cov", "2 coverage factors for 10"),
    "U beyond reason": ("0.009 0.012 0.006", "0.009 1e308 0.006", "is '1e308'"),
    "negative U": ("0.009 0.012 0.006", "0.009 -0.012 0.006", "uncertainty is negative"),
    "U is nan": ("0.009 0.012 0.006", "0.009 nan 0.006", "is 'nan'"),
    "short U": ("0.004 0.004 0.006 0.009", "0.004 0.006 0.009", "9 uncertainties for 10 values"),
    "U of nothing": ("0.004 0.004 0.006 0.009", "0.004 0 0.006 0.009", "an uncertainty of 0"),
    "short list": (VOLTS, VOLTS.rsplit(" ", 1)[0], "10 applied values for 9 indicated"),
    "infinite": ("2.003", "inf", "value is 'inf'"),
    "hexadecimal": ("2.003", "0x2", "value is '0x2'"),
    "comma": ("2.003", "2,003", "value is '2,003'"),
    "underscore": ("2.003", "2_003", "value is '2_003'"),
    "overflow": ("2.003", "1e999", "value is '1e999'"),
    "no values": (VOLTS, " ", "has no value"),
    "mixed units": (r">\kilo\newton<", ">" + r"\kilo\newton \newton" + "<", "mixes units"),
    "units too few": (r">\kilo\newton<", ">" + r"\newton \newton" + "<", "2 units for 10"),
    "unknown unit": (r"\kilo\newton", r"\tonne", r"unit '\\tonne' is not read"),
    "no unit": (r"<si:unitXMLList>\kilo\newton</si:unitXMLList>", "", "unit '' is not read"),
    "no number": ("si:realListXMLList", "si:charsXMLList", "holds no real numbers"),
    "bad day": ("2026-01-10Z", "10.01.2026", "the day of the calibration is"),
}


@pytest.mark.parametrize("dialect", [old, new])
@pytest.mark.parametrize(("before", "after", "words"), SPOILT.values(), ids=SPOILT)
def test_a_fault_in_the_numbers_is_told(make, dialect, before, after, words):
    text = CERTIFICATE.format(results=both(dialect), more="", end="", warm=WARM)
    assert before in text
    head, tail = text.split("<dcc:results>")
    spoilt = (
        head.replace(before, after) + "<dcc:results>" + tail
        if before == "2026-01-10Z"
        else head + "<dcc:results>" + tail.replace(before, after)
    )
    with pytest.raises(CampaignError, match=words) as caught:
        read_record(make(xml=spoilt))
    assert "cert." in str(caught.value)


def test_a_standard_uncertainty_alone_is_refused_not_guessed(make):
    results = both(new).replace("expandedMUXMLList", "standardMUXMLList")
    with pytest.raises(CampaignError, match="standardMUXMLList, which is not read"):
        read_record(make(results))


def test_passages_in_different_units_are_refused(make):
    results = both() + both().replace(r"\kilo\newton", r"\newton")
    with pytest.raises(CampaignError, match="applied values come in N, kN"):
        read_record(make(results))


def test_a_pairing_that_is_not_clear_is_refused(make):
    reference = quantity("basic_referenceValue", old("0 1 2", r"\newton", "1"))
    shown = quantity("basic_measuredValue", old("0 1 2", r"\volt"))
    with pytest.raises(CampaignError, match=r"2 lists of 'basic_referenceValue' stand beside 3"):
        read_record(make(listed(reference, reference, shown, shown, shown)))


# --- files that mean harm

BOMB = """<?xml version="1.0"?>
<!DOCTYPE digitalCalibrationCertificate [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;">]>
<digitalCalibrationCertificate schemaVersion="3.2.1">&d;</digitalCalibrationCertificate>"""
OUTSIDE = """<?xml version="1.0"?>
<!DOCTYPE digitalCalibrationCertificate [<!ENTITY x SYSTEM "{uri}">]>
<digitalCalibrationCertificate schemaVersion="3.2.1">&x;</digitalCalibrationCertificate>"""
PLAIN_DTD = """<!DOCTYPE digitalCalibrationCertificate SYSTEM "http://example.org/dcc.dtd">
<digitalCalibrationCertificate schemaVersion="3.2.1"/>"""
PARAMETER = """<!DOCTYPE d [<!ENTITY % p SYSTEM "http://example.org/p.dtd"> %p;]>
<digitalCalibrationCertificate schemaVersion="3.2.1"/>"""


@pytest.mark.parametrize("text", [BOMB, PLAIN_DTD, PARAMETER], ids=["bomb", "dtd", "parameter"])
def test_a_document_type_is_refused_before_it_does_anything(make, text):
    with pytest.raises(CampaignError, match="holds a document type"):
        read_record(make(xml=text))


def test_an_outside_entity_is_not_read(make, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("hidden words")
    with pytest.raises(CampaignError, match="holds a document type") as caught:
        read_record(make(xml=OUTSIDE.format(uri=secret.as_uri())))
    assert "hidden" not in str(caught.value)


def test_an_entity_without_a_document_type_is_no_xml(make):
    with pytest.raises(CampaignError, match="is not XML"):
        read_record(make(xml='<digitalCalibrationCertificate schemaVersion="3">&x;'))


def test_a_file_that_is_too_large_is_not_parsed(make):
    path = make(xml="<a>" + " " * MOST_BYTES + "</a>")
    with pytest.raises(CampaignError, match="holds more than 10 MB"):
        read_record(path)


def test_nesting_without_end_is_refused(make):
    deep = "<dcc:list>" * 5000 + "</dcc:list>" * 5000
    with pytest.raises(CampaignError, match="nested deeper than 100"):
        read_record(make(f"<dcc:result><dcc:data>{deep}</dcc:data></dcc:result>"))


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"PK\x03\x04", b"<a>", b"<a></b>"])
def test_what_is_no_xml_is_told(tmp_path, data):
    path = tmp_path / "x.xml"
    path.write_bytes(data)
    with pytest.raises(CampaignError, match=r"x\.xml: is not XML"):
        read_certificate(path)


def test_other_encodings_are_read_or_refused_but_do_not_crash(tmp_path):
    path = tmp_path / "x.xml"
    text = CERTIFICATE.format(results=both(), more="", end="", warm=WARM)
    path.write_bytes(text.replace("UTF-8", "UTF-16").encode("utf-16"))
    assert read_certificate(path).identifier == "K-2026-017"
    path.write_bytes(text.replace("UTF-8", "utf-7").encode("ascii"))
    with pytest.raises(CampaignError, match="is not XML"):
        read_certificate(path)


def test_a_certificate_that_is_not_there(make):
    path = make()
    path.with_suffix(".xml").unlink()
    with pytest.raises(CampaignError, match=r"certificate: there is no file 'cert\.xml'"):
        read_record(path)
    with pytest.raises(CampaignError, match="cannot be read"):
        read_certificate(path.with_suffix(".xml"))


# --- in a rig


def test_a_rig_may_name_a_certificate(bench, make):
    results = listed(
        quantity("basic_referenceValue", old("0 250 500", r"\newton\metre", "0.5")),
        quantity("basic_measuredValue", old("0 1 2", r"\milli\volt\per\volt")),
    )
    path = make(results, end="<Signature/>")
    for part in (path, path.with_suffix(".xml")):
        (bench.folder / "rig" / "records" / part.name).write_bytes(part.read_bytes())
    bench.spoil("rig/rig.toml", "records/TC-1.toml", "records/cert.xml")
    campaign = bench.read()
    record = campaign.rig.channels["torque"].calibration
    assert record.applied.tolist() == [0, 250, 500]
    assert [(item.role, item.path.name) for item in campaign.inputs[2:]] == [
        ("calibration record", "cert.toml"),
        ("calibration certificate", "cert.xml"),
    ]
    assert ["signature" in notice.what for notice in campaign.notices] == [True]
