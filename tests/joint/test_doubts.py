"""Every sentence of doubt has a study that raises it and a near neighbour that does not."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tolsim.answers.predict import predict
from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

ROOT = Path(__file__).parents[2]
BORE, ALLOY, CARBON = (
    f"specs/bores/{n}.toml" for n in ("steel-reamed", "ridge-alloy-large", "coast-moulded-large")
)
RING, SLEEVE = "specs/bearings/25x37x7-good.toml", "specs/sleeves/two-piece-alloy.toml"
STEEL, PRESSED, GLUED = "steel-all-year", "sleeved-alloy", "bonded-carbon"
FORM = "[roundness]\nlobes = 4\namplitude_um = 1\n"

#: Study, file, what stands there, what raises the sentence, what does not, words of it.
CASES = {
    "thin wall": (STEEL, BORE, "outside_diameter_mm = 46.0", "= 39.6", "= 39.8", "is thin for"),
    "thick wall": (STEEL, BORE, "outside_diameter_mm = 46.0", "= 78.0", "= 77.4", "is thick for"),
    "narrow seat": (
        STEEL,
        BORE,
        "seat_width_mm       = 7.0",
        "= 3.6",
        "= 3.8",
        "narrower than a tenth of its bore",
    ),
    # beyond the seat 1/beta = 7.5 mm of wall
    "short shell": (STEEL, BORE, "span_mm             = 82.0", "= 7.4", "= 7.6", "mm long, leaves"),
    "ring wider than sleeve": (PRESSED, SLEEVE, "length_mm = 12.0", "= 6.9", "= 7.0", "overhangs"),
    "temperature": (
        STEEL,
        "studies/steel-all-year/study.toml",
        "temperature_C = [-5, 20, 45]",
        "= [-5, 20, 121]",
        "= [-5, 20, 120]",
        "bearing ring: constants of bearing-steel hold from -40 to 120 °C",
    ),
    "yield": (PRESSED, ALLOY, "mean_um = -44.0", "= -215", "= -195", "above the proof stress"),
    "static rating": (
        STEEL,
        RING,
        "width_mm            = 7.0",
        "= 7.0\nstatic_rating_N = 560",
        "= 7.0\nstatic_rating_N = 630",
        "static safety",
    ),
    "limit on tilt": (
        STEEL,
        "studies/steel-all-year/study.toml",
        "bearing_tilt_arcmin = 6",
        "= 10.1",
        "= 10",
        "that makers permit",
    ),
    "axial modulus": (
        GLUED,
        CARBON,
        'material = "cfrp-quasi-isotropic"',
        '= { name = "cfrp", young_MPa = 60e3, young_radial_MPa = 9e3, poisson = 0.3, '
        'expansion_per_K = 3e-6, expansion_radial_per_K = 3e-5, source = "made" }',
        '= { name = "cfrp", young_MPa = 60e3, young_radial_MPa = 9e3, poisson = 0.3, '
        "young_axial_MPa = 60e3, poisson_hoop_axial = 0.3, "
        'expansion_per_K = 3e-6, expansion_radial_per_K = 3e-5, source = "made" }',
        "no axial modulus",
    ),
    "lobes behind adhesive": (
        GLUED,
        CARBON,
        "[sides]",
        FORM + "[sides]",
        "[sides]",
        "adhesive fills them",
    ),
    "taper behind a sleeve": (
        PRESSED,
        ALLOY,
        "edge_distance_mm    = 0.0",
        "= 0.0\ntaper_um = 2",
        "= 0.0",
        "taper is not carried",
    ),
    "removals": (
        STEEL,
        "studies/steel-all-year/study.toml",
        "age_at_assembly_h = 90",
        "= 90\nremovals = 2",
        "= 90\nremovals = 0",
        "2 removals: share of the interference kept per removal",
    ),
    "size as gauged": (
        STEEL,
        BORE,
        'size = "mean"',
        '= "inscribed"',
        '= "mean"',
        "no roundness is given, taken as the mean",
    ),
}


def warned(folder: Path, study: str, file: str, old: str, new: str) -> list[str]:
    """Warnings of a shipped study with one line changed; only the value is given of `new`."""
    home = folder / "studies" / study
    for what in ("specs", f"studies/{study}"):  # parts beside a study come before the shipped ones
        shutil.copytree(ROOT / what, home, dirs_exist_ok=True)
    path = home / file.removeprefix("specs/").removeprefix(f"studies/{study}/")
    text = path.read_text()
    assert text.count(old) >= 1
    line = new if not new.startswith("=") else old.split("=")[0] + new
    path.write_text(text.replace(old, line))
    joint = assemble(load_study(folder / "studies" / study))
    return [w for b in joint.builds for w in b.warnings]


@pytest.mark.parametrize("case", CASES)
def test_sentence_and_neighbour(tmp_path: Path, case: str) -> None:
    """The sentence stands beside the answer of the one study and not of its neighbour."""
    study, file, old, raising, quiet, words = CASES[case]
    found = warned(tmp_path / "a", study, file, old, raising)
    assert len([w for w in found if words in w]) >= 1, found
    assert not [w for w in warned(tmp_path / "b", study, file, old, quiet) if words in w]


def test_shipped_studies_raise_none() -> None:
    """The shipped studies lie within what the physics holds for; counted removals tell a basis."""
    for path in sorted((ROOT / "studies").iterdir()):
        study = load_study(path)
        removals = study.spec.joint.removals
        for build in assemble(study).builds:
            told = [w for w in build.warnings if w.startswith(f"{removals} removals: ")]
            assert len(told) == (1 if removals else 0), path.name
            assert list(build.warnings) == told, path.name


def test_sentences_reach_the_answer(tmp_path: Path) -> None:
    """What the joint doubts stands among the warnings of the prediction, with the part's name."""
    study, file, old, raising, _, words = CASES["limit on tilt"]
    warned(tmp_path, study, file, old, raising)
    told = predict(
        load_study(tmp_path / "studies" / study), draws=2**10, plain=True, glance=False
    ).warnings
    assert any(words in w for w in told)
