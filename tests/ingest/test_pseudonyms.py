"""Keys and keyed codes: the same for the same, different across kinds and keys, and nothing shown."""

import hashlib
import hmac
import json
import os
import string
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import OutputError, SettingsError
from audit.ingest.load import load_visits
from audit.ingest.pseudonyms import KEY_BYTES, PseudonymKey, make_key, pseudonym, pseudonymise, read_key
from audit.records import VisitLog

KEY = PseudonymKey("0a1b2c3d", bytes(range(32)))
OTHER = PseudonymKey("0a1b2c3d", bytes(range(1, 33)))


def test_hmac_sha_256_is_that_of_the_published_test_case() -> None:
    # RFC 4231, section 4.2, test case 1: 20 bytes 0x0b, "Hi There". It pins the function that pseudonyms rest on.
    digest = hmac.new(b"\x0b" * 20, b"Hi There", hashlib.sha256).hexdigest()
    assert digest == "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"


def test_a_pseudonym_is_80_bits_of_the_hmac_over_kind_and_text() -> None:
    digest = hmac.new(KEY.secret, b"iud-audit pseudonym 1\x00woman\x00W00172", hashlib.sha256).digest()
    # Base32 by hand: five bits a letter, A to Z and 2 to 7 (RFC 4648, section 6).
    bits = "".join(f"{octet:08b}" for octet in digest[:10])
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
    by_hand = "".join(letters[int(bits[at : at + 5], 2)] for at in range(0, 80, 5))
    assert pseudonym("W00172", key=KEY, kind="woman") == by_hand


@given(text=st.text(min_size=1), other=st.text(min_size=1))
def test_the_same_text_has_the_same_code_and_another_has_another(text: str, other: str) -> None:
    code = pseudonym(text, key=KEY, kind="woman")
    assert len(code) == 16
    assert set(code) <= set(string.ascii_uppercase + "234567")
    assert (pseudonym(other, key=KEY, kind="woman") == code) is (other == text)
    assert pseudonym(text, key=KEY, kind="clinician") != code
    assert pseudonym(text, key=OTHER, kind="woman") != code


def test_nothing_stays_nothing() -> None:
    assert pseudonym("", key=KEY, kind="woman") == ""


def test_a_hundred_thousand_women_have_as_many_codes() -> None:
    assert len({pseudonym(f"W{number}", key=KEY, kind="woman") for number in range(100_000)}) == 100_000


def log_of(folder: Path, key: PseudonymKey | None, *rows: str) -> VisitLog:
    """A log with a clinician, one who took over, and a supervisor."""
    head = "patient_ref,visit_date,visit_kind,insertion_outcome,clinician_ref,completed_by_ref,supervisor_ref"
    path = folder / "visits.csv"
    path.write_text("\n".join((head, *rows)) + "\n", encoding="utf-8")
    return load_visits(path, key=key)


ROWS = (
    "W2,2026-07-01,insertion,placed,C1,,C3",
    "W1,2026-07-02,insertion,failed,C2,C1,",
    "W2,2026-07-03,insertion,placed,C1,C2,C1",
    " W1 ,2026-08-03,insertion,placed,,,",
)


def test_keyed_codes_change_references_and_nothing_else(tmp_path: Path) -> None:
    plain, keyed = log_of(tmp_path, None, *ROWS), log_of(tmp_path, KEY, *ROWS)
    staff = ["clinician_ref", "completed_by_ref", "supervisor_ref"]
    pd.testing.assert_frame_equal(plain.visits.drop(columns=staff), keyed.visits.drop(columns=staff))
    for name in staff:
        before, after = plain.visits[name].astype(object), keyed.visits[name].astype(object)
        assert after.isna().tolist() == before.isna().tolist()
        expected = [pseudonym(code, key=KEY, kind="clinician") for code in before.dropna()]
        assert after.dropna().tolist() == expected
    assert keyed.patient_refs.tolist() == [pseudonym(text, key=KEY, kind="woman") for text in ("W2", "W1")]
    assert (plain.key_id, keyed.key_id) == ("", "0a1b2c3d")


def test_one_person_has_one_code_whatever_her_part(tmp_path: Path) -> None:
    visits = log_of(tmp_path, KEY, *ROWS).visits
    assert visits["clinician_ref"][0] == visits["completed_by_ref"][1] == visits["supervisor_ref"][2]


def test_the_order_of_the_codes_says_nothing_of_the_names(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,C{i},," for i in range(1, 9)]
    categories = log_of(tmp_path, KEY, *rows).visits["clinician_ref"].cat.categories.tolist()
    assert categories == sorted(categories)
    assert categories != [pseudonym(f"C{i}", key=KEY, kind="clinician") for i in range(1, 9)]


def test_two_spellings_of_a_code_are_still_found_doubtful(tmp_path: Path) -> None:
    rows = [
        f"W{i},2026-07-0{i},insertion,placed,{code},," for i, code in enumerate(("c1", "C1", "c1"), start=1)
    ]
    assert log_of(tmp_path, KEY, *rows).findings["rule"].tolist() == ["alike_staff_codes"]


def test_an_empty_log_has_no_codes(tmp_path: Path) -> None:
    log = log_of(tmp_path, KEY)
    assert len(log.visits) == len(log.patient_refs) == 0
    assert log.visits["clinician_ref"].cat.categories.tolist() == []


def test_the_argument_is_left_as_it_was() -> None:
    visits = pd.DataFrame({"clinician_ref": pd.Categorical(["C1", "C2"])})
    refs = pd.Series(["W1", "W2"], name="patient_ref", dtype=object)
    pseudonymise(visits, refs, key=KEY)
    assert visits["clinician_ref"].tolist() == ["C1", "C2"]
    assert refs.tolist() == ["W1", "W2"]


# Key files


def test_a_key_file_is_for_its_owner_alone_and_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "audit.key"
    made = make_key(path)
    assert os.stat(path).st_mode & 0o777 == 0o600
    assert read_key(path) == made
    assert len(made.secret) == KEY_BYTES == 32
    assert len(made.key_id) == 8
    # The name must tell nothing of the secret.
    assert made.key_id not in made.secret.hex()
    assert made.key_id not in hashlib.sha256(made.secret).hexdigest()


def test_no_two_keys_are_alike(tmp_path: Path) -> None:
    made = [make_key(tmp_path / f"{number}.key") for number in range(20)]
    assert len({key.secret for key in made}) == len({key.key_id for key in made}) == 20


def test_a_key_does_not_print_its_secret(tmp_path: Path) -> None:
    made = make_key(tmp_path / "audit.key")
    assert repr(made) == f"PseudonymKey(key_id='{made.key_id}')"


def test_a_key_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "audit.key"
    made = make_key(path)
    with pytest.raises(OutputError, match=r"^audit\.key: exists and is left as it is"):
        make_key(path)
    assert read_key(path) == made


def test_a_key_must_not_lie_in_the_output_folder(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "tables").mkdir(parents=True)
    with pytest.raises(OutputError, match=r"^audit\.key: a key must not lie in the output folder"):
        make_key(out / "audit.key", output_folder=out)
    assert not (out / "audit.key").exists()
    make_key(out / "tables" / "audit.key")
    for folder in (out, out / "tables" / ".."):
        with pytest.raises(SettingsError, match="a key must not lie in the output folder"):
            read_key(out / "tables" / "audit.key", output_folder=folder)
    beside = make_key(tmp_path / "audit.key", output_folder=out)
    assert read_key(tmp_path / "audit.key", output_folder=out) == beside


def test_a_link_into_the_output_folder_does_not_help(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    make_key(out / "audit.key")
    (tmp_path / "link.key").symlink_to(out / "audit.key")
    with pytest.raises(SettingsError, match="a key must not lie in the output folder"):
        read_key(tmp_path / "link.key", output_folder=out)


@pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are those of POSIX")
@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620, 0o601])
def test_a_key_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "audit.key"
    make_key(path)
    path.chmod(mode)
    with pytest.raises(SettingsError, match=rf"^audit\.key: other users can read this key \(mode {mode:o}\)"):
        read_key(path)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "sesame",
        "[]",
        "{}",
        json.dumps({"key_id": "a1"}),
        json.dumps({"key_id": "a1", "secret": "00"}),
        json.dumps({"key_id": "a1", "secret": "x" * 64}),
        json.dumps({"key_id": "../a", "secret": "00" * 32}),
        json.dumps({"key_id": "a1", "secret": 7}),
    ],
)
def test_what_is_no_key_is_refused_and_not_shown(tmp_path: Path, text: str) -> None:
    path = tmp_path / "audit.key"
    path.write_text(text, encoding="utf-8")
    path.chmod(0o600)
    with pytest.raises(SettingsError) as refused:
        read_key(path)
    assert str(refused.value) == (
        "audit.key: is not a key file of this program. Give one that iud-audit make-key wrote."
    )


def test_a_key_that_is_not_there_or_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"^audit\.key: cannot be read \(No such file or directory\)"):
        read_key(tmp_path / "audit.key")
    with pytest.raises(OutputError, match=r"^audit\.key: cannot be written \(No such file or directory\)"):
        make_key(tmp_path / "nowhere" / "audit.key")
    binary = tmp_path / "binary.key"
    binary.write_bytes(b"\xff\xfe\x00")
    binary.chmod(0o600)
    with pytest.raises(SettingsError, match="is not a key file"):
        read_key(binary)
