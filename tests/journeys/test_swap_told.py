"""Two jobs in plain lines in which a known good relay is at hand: it is the relay, and it is its socket."""

from __future__ import annotations

from pathlib import Path

from story import play


def told(fault: str, folder: Path) -> str:
    """All that is said from the exchange on, in one line."""
    session, _, lines = play("pump-on-ignition-feed", fault, 1, folder, show=False, has=("spare_relay",))
    session.close()
    said = " ".join(" ".join(lines).split())
    return said[said.index("Key off: pull the pump relay and push a known good one home") :]


def test_the_good_relay_works_stays_in_and_is_proved(tmp_path: Path) -> None:
    heard = told("relay:contacts-stuck-open", tmp_path)
    for words in (
        "key off", "the drawing on its case", "no fuel smells", "1 works now, 2 still wrong", "> works now",
        "That was it: the old pump relay", "moves the contacts of the socket too", "The repair holds",
    ):  # fmt: skip
        assert words.casefold() in heard.casefold(), words
    assert heard.index("That was it") < heard.index("black on battery negative post") < heard.index("The repair holds")


def test_still_wrong_with_the_good_relay_names_the_socket(tmp_path: Path) -> None:
    heard = told("relay.87:bad", tmp_path)
    assert "> still wrong" in heard
    assert "Put the old pump relay back before the next check" in heard
    verdict = heard[heard.index("Verdict: ") :]
    assert verdict.startswith("Verdict: The contact in the holder at terminal")
    assert "That was it" not in heard
