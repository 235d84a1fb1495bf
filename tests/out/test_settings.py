"""What may be set on a rod from the page: checked field by field, refused in plain words."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_tools import DISC, ask, post, serving

from assistant.configured import RigPart, Rod
from assistant.web.guard import is_loopback
from assistant.web.settings import Refused, RodLimits, limits_of, parse_setting


async def test_a_setting_reaches_the_callback_in_si() -> None:
    async with serving() as here:
        status, _, body = await post(
            here, {"rod": "C", "line_out_m": 61.5, "rod_state": "coming in", "tripped": False}
        )
        assert status == 200, body
        (setting,) = here.settings
        assert (setting.t_s, setting.rod, setting.line_out_m, setting.rod_state) == (
            12.5,
            "C",
            61.5,
            "coming in",
        )
        assert setting.tripped is False and setting.setting is None


@pytest.mark.parametrize(
    ("asked", "status", "said"),
    [
        (b"{", 400, "JSON"),
        (b"[" * 4000, 400, "JSON"),
        (b'"x"', 400, "want an object"),
        (b'{"rod":"C","line_out_m":NaN}', 422, "line_out_m NaN: want a number from 0 to 600"),
        ({"rod": "C", "line_out_m": -1}, 422, "line_out_m -1: want a number from 0 to 600"),
        ({"rod": "C", "line_out_m": True}, 422, "line_out_m true"),
        ({"rod": "C", "line_out_m": "160 ft"}, 422, "line_out_m"),
        ({"rod": "C", "line_out_m": 10**400}, 422, "line_out_m"),
        ({"rod": "C", "setting": 1}, 422, "setting 1: this rod has no planer"),
        ({"rod": "C", "rod_state": "lost"}, 422, 'rod_state "lost": want one of aboard, going out'),
        ({"rod": "Z", "setting": 1}, 422, 'rod "Z": want one of'),
        ({"rod": ["C"]}, 422, "rod"),
        ({"rod": "C"}, 422, "field null: want some of line_out_m"),
        ({"rod": "C", "line_out": 1}, 422, 'field "line_out"'),
        (b" " * 5000, 413, "4096"),
    ],
)  # fmt: skip
async def test_a_wrong_setting_is_refused_with_field_value_and_range(
    asked: object, status: int, said: str
) -> None:
    async with serving() as here:
        got, _, body = await post(here, asked)
        assert got == status and said in json.loads(body)["error"]
        assert here.settings == []


async def test_a_setting_must_be_json_and_posted() -> None:
    async with serving() as here:
        for kind in (
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
            "application/jsonp",
            "",
        ):
            assert (await post(here, {"rod": "C", "line_out_m": 1}, Content_Type=kind))[0] == 415
        assert (await ask(here, "/api/setting"))[0] == 405
        assert (await ask(here, "/", "DELETE", Content_Type="application/json"))[0] == 405
        assert here.settings == []


async def test_a_setting_from_another_machine_is_refused() -> None:
    assert [is_loopback({"client": (address, 1)}) for address in ("127.0.0.1", "127.9.9.9", "::1")] == [
        True
    ] * 3
    for address in ("192.168.1.20", "10.0.0.1", "fe80::1", "not an address", "0.0.0.0"):
        assert not is_loopback({"client": (address, 1)})
    assert not is_loopback({}) and not is_loopback({"client": None})
    async with serving() as here:  # a proxy's word about where it comes from is not taken
        assert (await post(here, {"rod": "C", "line_out_m": 1}, X_Forwarded_For="192.168.1.20"))[0] == 200


def test_the_dial_of_the_rods_own_planer_is_the_range() -> None:
    rig = (RigPart(line="wire"), RigPart(body="disc", setting=1.0), RigPart(body="spoon"))
    rod = Rod("P1", "port", "", 0, 0, 1, 50, rig)
    limits = {"P1": limits_of(rod, {"disc": DISC}), "C": RodLimits(None)}
    assert parse_setting(b'{"rod":"P1","setting":3.5}', limits, 1.0).setting == 3.5
    with pytest.raises(Refused, match=r"setting 3.6: want a number from 0 to 3.5"):
        parse_setting(b'{"rod":"P1","setting":3.6}', limits, 1.0)


def test_a_dial_with_labels_takes_its_labels() -> None:
    limits = {"P1": RodLimits(None, ("0", "1", "A"))}
    for asked, taken in ((b'"A"', "A"), (b'"1"', "1"), (b"1", "1"), (b"1.0", "1")):
        assert parse_setting(b'{"rod":"P1","setting":%b}' % asked, limits, 1.0).setting == taken
    for wrong in (b'"B"', b"true", b"2", b'"a"', b"1e400", b"[1]"):
        with pytest.raises(Refused, match="want one of 0, 1, A"):
            parse_setting(b'{"rod":"P1","setting":%b}' % wrong, limits, 1.0)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=20) | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
askable = st.dictionaries(
    st.sampled_from(["rod", "line_out_m", "setting", "rod_state", "tripped", "x"]),
    json_values | st.just("P1"),
    max_size=5,
)


@given(st.binary(max_size=60) | askable.map(lambda asked: json.dumps(asked).encode()))
def test_any_body_is_a_setting_within_its_limits_or_refused(body: bytes) -> None:
    try:
        setting = parse_setting(body, {"P1": RodLimits((0.0, 3.5))}, 1.0)
    except Refused as refused:
        assert 400 <= refused.status < 500 and str(refused).isascii()
        return
    assert setting.rod == "P1"
    assert setting.line_out_m is None or 0 <= setting.line_out_m <= 600
    assert setting.setting is None or 0 <= setting.setting <= 3.5
