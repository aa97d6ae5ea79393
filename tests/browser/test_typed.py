"""Numbers as typed, read by the pages' own script: the same table as the server's."""

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server
from tests.typed import NO_NUMBER, READ, TWO_SIGNS

ASK = r"""async (texts) => {
  const root = document.querySelector('script[type=module][src*="/js/"]').src.replace(/\/js\/.*/, "/js");
  const { parseNumber, numberError } = await import(`${root}/core/number-input.js`);
  return texts.map((text) => { const n = parseNumber(text); return Number.isNaN(n) ? numberError(text) : n; });
}"""


def test_the_script_reads_numbers_as_the_server_does(demo: Server, screen: MakeScreen):
    """The script and the server take and refuse the same typed numbers, in the same sentences."""
    phone = screen(demo, PHONE)
    phone.open("/find")
    assert phone.page.evaluate(ASK, list(READ)) == list(READ.values())
    for said in phone.page.evaluate(ASK, list(TWO_SIGNS)):
        assert "more than one comma or point" in said
    assert phone.page.evaluate(ASK, list(NO_NUMBER)) == [f"“{text}” is not a number." for text in NO_NUMBER]
