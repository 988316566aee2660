import pytest
from pydantic import ValidationError

from stressmap.core.settings import Map

GOOD = [None, "https://tiles.example.org/{z}/{x}/{y}.png", "https://{s}.t.example/{z}/{y}/{x}"]


@pytest.mark.parametrize("address", GOOD)
def test_an_address_of_tiles_is_taken(address) -> None:
    assert Map(basemap=address).basemap == address


@pytest.mark.parametrize(
    "address",
    ["https://tiles.example.org/map.png", "http://tiles.example.org/{z}/{x}/{y}.png", "file:///etc/{z}{x}{y}",
     "https://a b'; script-src * /{z}/{x}/{y}", "javascript:alert(1)//{z}{x}{y}"],
)  # fmt: skip
def test_any_other_address_is_refused(address: str) -> None:
    with pytest.raises(ValidationError) as error:
        Map(basemap=address)
    expected = f"Value error, {address!r} is no address of map tiles; write https://.../{{z}}/{{x}}/{{y}}.png"
    assert [e["msg"] for e in error.value.errors()] == [expected]
