"""Benchmarks by group. A module here brings one group; `manage.py benchmark --<group>` runs it.

    @benchmark("core", name="judge")
    def judge_one_by_one(effort: Effort) -> Iterator[Measurement]:
        ...
        yield Measurement("judge", value, "values/s", baseline, ratio, "at least 200 000 values/s", met)

Every module of this package is imported by `registry.load`, so a new one needs no other line.
"""
