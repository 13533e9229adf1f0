"""Every published number that was collected outside the project stands in a test, or in a list with the reason why not.

The names of the collected files are written here, because tests read nothing outside the repository. Each maps to
the file of tests/vectors that carries its numbers; that one names it, and some test reads every part of it.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).resolve().parents[1]
VECTORS = TESTS / "vectors"

CARRIED = {
    "acceptance": """
        aoq_ati.csv                                   acceptance_aoq_ati
        aoql_factors.csv                              acceptance_aoql_factors
        cameron_poisson.csv                           acceptance_cameron_poisson
        conformity_uncertainty.json                   uncertainty
        leak_rate.json                                leak
        leak_units.csv                                leak
        limiting_quality.csv                          acceptance_limiting_quality
        milstd105e_single_sampling.csv                acceptance_milstd105e_single_sampling
        milstd105e_single_sampling_meta.json          acceptance_milstd105e_single_sampling_meta
        milstd105e_table1_code_letters.csv            acceptance_milstd105e_table1_code_letters
        milstd414_k_and_M.csv                         acceptance_milstd414_k_and_M
        milstd414_table_a2_code_letters.csv           acceptance_milstd414_table_a2_code_letters
        oc_points.csv                                 acceptance_oc_points
        oc_quantiles_milstd105e.csv                   acceptance_oc_quantiles_milstd105e
        plan_lookups.csv                              acceptance_plan_lookups
        rounding.csv                                  rounding
        rounding_conformance.csv                      rounding
        switching_rules.json                          acceptance_switching_rules
        uncertainty_gum.json                          uncertainty
        variables_examples.json                       acceptance_variables_examples
        zero_acceptance.csv                           acceptance_zero_acceptance
    """,
    "engineering": """
        a513_tube_limit_cases.csv                     materials
        a513_type5_od_id_tolerance_in.csv             materials
        a513_type5_wall_tolerance_in.csv              materials
        bend_b311_cases.csv                           bends
        bend_formulas.json                            bends
        bend_ovality_cases.csv                        bends
        bend_thinning_cases.csv                       bends
        carbon_equivalent_cases.csv                   materials
        carbon_equivalent_formulas.json               materials
        fastener_iso898_proof_loads.csv               fasteners
        fastener_torque_cases.csv                     fasteners
        fit_datasets.json                             geometry
        gdt_position_cases.csv                        geometry
        gdt_virtual_condition.csv                     geometry
        hardness_cases.csv                            hardness
        hardness_din50150.csv                         hardness
        hardness_e140_hrc.csv                         hardness
        heat_analysis_cases.csv                       materials
        iso13920_angular_offset.csv                   general_tolerances
        iso13920_cases.csv                            general_tolerances
        iso13920_tables.json                          general_tolerances
        iso2768_cases.csv                             general_tolerances
        iso2768_tables.json                           general_tolerances
        iso2768_verdicts.csv                          general_tolerances
        iso286_delta_um.csv                           fits
        iso286_fits.csv                               fits
        iso286_fundamental_deviations_um.csv          fits
        iso286_it_grades_um.csv                       fits
        iso286_source_disagreements.csv               fits
        iso286_worked_limits.csv                      fits
        iso5817_cases.csv                             welds
        iso5817_limits.json                           welds
        steel_composition.csv                         materials
        steering_notes.json                           steering
        steering_trail_cases.csv                      steering
        tube_mechanical.csv                           materials
        unit_cases.csv                                units
        unit_conversions.csv                          units
        vin_cases.csv                                 vin
        vin_tables.json                               vin_tables
    """,
    "statistics": """
        anova_nist_machines.json                      statistics_anova_nist_machines
        attribute_effectiveness_aiag.json             statistics_attribute_effectiveness_aiag
        c_chart_nist_wafers.json                      statistics_c_chart_nist_wafers
        capability_confidence_intervals.json          statistics_capability_confidence_intervals
        capability_fallout_one_sided.csv              statistics_capability_fallout_one_sided
        capability_fallout_two_sided.csv              statistics_capability_fallout_two_sided
        capability_nist_6_1_6.json                    statistics_capability_nist_6_1_6
        control_chart_constants.csv                   statistics_control_chart_constants
        control_chart_constants_8_decimals.csv        statistics_control_chart_constants_8_decimals
        control_chart_formulas.json                   statistics_control_chart_formulas
        cusum_arl_h5.csv                              statistics_cusum_arl_h5
        cusum_montgomery.json                         statistics_cusum_montgomery
        cusum_nist.json                               statistics_cusum_nist
        ewma_arl.csv                                  statistics_ewma_arl
        ewma_nist.json                                statistics_ewma_nist
        gauge_k_factors.csv                           statistics_gauge_k_factors
        grr_aiag_10x3x3.json                          statistics_grr_aiag_10x3x3
        imr_montgomery_mortgage.json                  statistics_imr_montgomery_mortgage
        imr_nist_flowrate.json                        statistics_imr_nist_flowrate
        kappa_aiag_attribute.json                     statistics_kappa_aiag_attribute
        kappa_cohen_3x3.json                          statistics_kappa_cohen_3x3
        kappa_fleiss_1971.json                        statistics_kappa_fleiss_1971
        mean_interval_nist_zarr13.json                statistics_mean_interval_nist_zarr13
        nested_gauge_nist_probe2362.json              statistics_nested_gauge_nist_probe2362
        nist_strd_anova_sirstv.json                   statistics_nist_strd_anova_sirstv
        nist_strd_anova_smls01.json                   statistics_nist_strd_anova_smls01
        nist_strd_univariate_lew.json                 statistics_nist_strd_univariate_lew
        nist_strd_univariate_lottery.json             statistics_nist_strd_univariate_lottery
        nist_strd_univariate_michelso.json            statistics_nist_strd_univariate_michelso
        nist_strd_univariate_numacc1.json             statistics_nist_strd_univariate_numacc1
        nist_strd_univariate_numacc2.json             statistics_nist_strd_univariate_numacc2
        nist_strd_univariate_numacc3.json             statistics_nist_strd_univariate_numacc3
        nist_strd_univariate_pidigits.json            statistics_nist_strd_univariate_pidigits
        p_np_chart_30_samples_of_50.json              statistics_p_np_chart_30_samples_of_50
        proportion_intervals_nist.json                statistics_proportion_intervals_nist
        run_rules_arl.csv                             statistics_run_rules_arl
        run_rules_definitions.json                    statistics_run_rules_definitions
        tolerance_interval_nist.json                  statistics_tolerance_interval_nist
        u_chart_montgomery_computers.json             statistics_u_chart_montgomery_computers
        u_chart_variable_size_cloth.json              statistics_u_chart_variable_size_cloth
        variance_tests_nist_gear.json                 statistics_variance_tests_nist_gear
        xbar_r_flow_width.json                        statistics_xbar_r_flow_width
        xbar_r_s_piston_rings.json                    statistics_xbar_r_s_piston_rings
    """,
}
"""By folder: the collected file, then the vector that carries its numbers."""

WITHOUT_VECTOR = {
    "acceptance/README.md": "words about the files beside it",
    "engineering/README.md": "words about the files beside it",
    "statistics/README.md": "words about the files beside it",
    "engineering/iso286_rules.json": "rules in words; the worked limits and the tests named below hold each of them",
}
"""Collected files that hold no numbers of their own."""

TESTS_OF_RULES = (
    "test_gives_the_worked_limits",
    "test_follows_the_value_kept_where_public_tables_disagree",
    "test_refuses_a_size_that_the_class_does_not_reach",
    "test_classes_without_a_fundamental_deviation_reach_3150_mm",
    "test_loose_shaft_k_has_no_fundamental_deviation",
    "test_small_n_holes_from_grade_9_start_at_minus_4",
    "test_deviations_are_one_standard_tolerance_apart",
    "test_loose_holes_mirror_their_shafts",
)
HOW_MANY = 108
LEAST_LITERAL = 12  # characters of an f-string that stand fast, so that it names a group of vectors and not anything


def carried() -> Iterator[tuple[str, str]]:
    """Pairs of collected file and vector."""
    for folder, text in CARRIED.items():
        for line in text.split("\n"):
            if line.strip():
                name, *vectors = line.split()
                yield from ((f"{folder}/{name}", vector) for vector in vectors)


PAIRS = list(carried())


@cache
def vector(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))
    return found


@cache
def sources() -> dict[Path, str]:
    """The texts of all tests but this one."""
    files = [*TESTS.rglob("test_*.py"), *TESTS.rglob("*.test.js")]
    return {file: file.read_text(encoding="utf-8") for file in files if file != Path(__file__)}


@cache
def named_in(file: Path) -> tuple[frozenset[str], tuple[re.Pattern[str], ...]]:
    """The plain texts that a test file writes, each without its folder; and its f-strings, in which what is filled in
    may be anything, unless they are nearly all filling.
    """
    text = sources()[file]
    if file.suffix != ".py":
        return frozenset(found.rpartition("/")[2] for found in re.findall(r"[\w/.-]+", text)), ()
    plain, filled = set(), []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            plain.add(node.value.rpartition("/")[2])
        elif isinstance(node, ast.JoinedStr):
            parts = [str(part.value) if isinstance(part, ast.Constant) else "" for part in node.values]
            if len("".join(parts)) >= LEAST_LITERAL:
                filled.append(re.compile("".join(re.escape(part) if part else r"\w+" for part in parts)))
    return frozenset(plain), tuple(filled)


@cache
def readers(name: str) -> tuple[Path, ...]:
    """The tests that name the vector, with or without its ending."""

    def names_it(file: Path) -> bool:
        plain, filled = named_in(file)
        return bool({name, f"{name}.json"} & plain) or any(pattern.fullmatch(name) for pattern in filled)

    return tuple(file for file in sources() if names_it(file))


def holds_numbers(content: Any) -> bool:
    """Whether a part of a vector has a number in it, and is not words about the others."""
    if isinstance(content, dict):
        return any(map(holds_numbers, content.values()))
    if isinstance(content, list):
        return any(map(holds_numbers, content))
    if isinstance(content, str):
        return re.fullmatch(r"-?[\d.]+(?:[eE]-?\d+)?", content) is not None
    return isinstance(content, int | float) and not isinstance(content, bool)


def test_lists_every_collected_file_once() -> None:
    listed = [name for name, _ in PAIRS]
    assert len(set(listed)) == len(listed)
    assert not set(listed) & set(WITHOUT_VECTOR)
    assert len(listed) + len(WITHOUT_VECTOR) == HOW_MANY


@pytest.mark.parametrize(("name", "carrier"), PAIRS, ids=[name for name, _ in PAIRS])
def test_carries_the_numbers_of_each_collected_file(name: str, carrier: str) -> None:
    data = vector(carrier)
    named = data.get("reference_files") or [data.get("reference")]
    assert name in named, f"{carrier}.json does not say that its numbers are from {name}"


@pytest.mark.parametrize("name", sorted({carrier for _, carrier in PAIRS}))
def test_reads_every_part_of_each_vector(name: str) -> None:
    files = readers(name)
    assert files, f"no test reads {name}.json"
    parts = {
        part for part, content in vector(name).items() if isinstance(content, list | dict) and holds_numbers(content)
    }
    unread = {part for part in parts if not any(re.search(rf"\b{part}\b", sources()[file]) for file in files)}
    assert unread - read_by_a_reader_of_tables(name) == set(), f"no test looks at these parts of {name}.json"


def read_by_a_reader_of_tables(name: str) -> set[str]:
    """The parts of a plain table, which `rows` of the statistics' tests reads whole."""
    return {"columns", "rows"} if "columns" in vector(name) else set()


@pytest.mark.parametrize("name", sorted({carrier for _, carrier in PAIRS}))
def test_names_the_source_of_every_vector(name: str) -> None:
    told = json.dumps(vector(name))
    assert re.search(r'"(?:\w+_)?(?:sources?|scheme)"', told), f"{name}.json says nowhere where its numbers are from"


@pytest.mark.parametrize("name", TESTS_OF_RULES)
def test_has_the_tests_that_stand_for_rules_in_words(name: str) -> None:
    assert f"def {name}(" in (TESTS / "core" / "metrology" / "test_fits.py").read_text(encoding="utf-8")


def test_reads_nothing_of_the_collection_itself() -> None:
    shared = "/work/" + "shared"
    assert [file.name for file, text in sources().items() if shared in text] == []


def test_finds_a_vector_that_no_test_reads() -> None:
    """The check itself: a name that nobody writes has no reader, one behind an f-string has."""
    assert readers("nobody" + "_reads_this") == ()
    assert readers("statistics_nist_strd_univariate_" + "lew")
