"""The shapes of what the tablet gets of a unit, for the API's description."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from qcapp.inspections.states import CheckpointState, StageState

from .drawings import Sheet


class BenchUnit(serializers.Serializer[Any]):
    serial = serializers.CharField()
    family_code = serializers.CharField()
    family_name = serializers.CharField()
    order_number = serializers.CharField(allow_blank=True)
    variant = serializers.CharField(allow_blank=True)
    state = serializers.CharField()
    state_label = serializers.CharField()


class BenchRevision(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    letter = serializers.CharField()
    state = serializers.CharField()


class BenchPerson(serializers.Serializer[Any]):
    badge = serializers.CharField()
    name = serializers.CharField()
    initials = serializers.CharField()
    language = serializers.CharField()


class BenchHold(serializers.Serializer[Any]):
    source = serializers.CharField()  # type: ignore[assignment]  # a field's own name for where its value comes from
    reason = serializers.CharField()
    from_stage = serializers.IntegerField(allow_null=True)
    at = serializers.DateTimeField()


class BenchStage(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    name = serializers.CharField()
    hold_point = serializers.BooleanField()
    witness_point = serializers.BooleanField()
    witness = serializers.CharField(allow_blank=True, help_text="what is recorded at a witness point")
    state = serializers.ChoiceField(choices=[state.value for state in StageState])
    held = serializers.BooleanField()
    due = serializers.IntegerField()
    answered = serializers.IntegerField()
    signed_by = serializers.CharField(allow_null=True)
    signed_at = serializers.DateTimeField(allow_null=True)
    may_start = serializers.BooleanField(help_text="earlier stages are signed and no hold stands against it")
    blocked_by = serializers.CharField(allow_blank=True)


class BenchPair(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    answer = serializers.CharField(allow_null=True)


class BenchTemperature(serializers.Serializer[Any]):
    expansion = serializers.CharField(allow_null=True, help_text="µm per metre and kelvin; null: only recorded")
    reference = serializers.CharField(help_text="the limits hold at this temperature, °C")
    expansion_limit = serializers.CharField(allow_null=True, help_text="how far the coefficient may be off; half-width")
    thermometer = serializers.CharField(allow_null=True, help_text="how far the temperature may be off, K; half-width")
    text = serializers.CharField()


class BenchSpot(serializers.Serializer[Any]):
    drawing = serializers.UUIDField()
    across = serializers.CharField()
    down = serializers.CharField()


class BenchConflicting(serializers.Serializer[Any]):
    answer = serializers.CharField()
    outcome = serializers.CharField()
    answered_by = serializers.CharField()
    recorded_at = serializers.DateTimeField()


class BenchPhoto(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    file = serializers.UUIDField(help_text="/evidence/<file>/")
    marks = serializers.ListField(child=serializers.ListField(child=serializers.IntegerField()))


class BenchRemark(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    kind = serializers.CharField()
    text = serializers.CharField()
    by = serializers.CharField()


class BenchCheckpoint(serializers.Serializer[Any]):
    key = serializers.CharField()
    number = serializers.IntegerField()
    title = serializers.CharField()
    kind = serializers.CharField()
    stage = serializers.IntegerField()
    due = serializers.BooleanField()
    state = serializers.ChoiceField(choices=[state.value for state in CheckpointState])
    task = serializers.ChoiceField(choices=["first", "second", "third", "settle", "wait", "done", "none"])
    task_note = serializers.CharField(allow_blank=True)
    round = serializers.IntegerField()
    reopened_by = serializers.CharField(allow_blank=True)
    base = serializers.UUIDField(allow_null=True, help_text="what a correction or repeat names as its base")
    operation = serializers.UUIDField(allow_null=True, help_text="the same as base, kept for older clients")
    inspection_seen = serializers.IntegerField(allow_null=True)
    outcome = serializers.CharField(allow_null=True)
    answer = serializers.CharField(allow_null=True, help_text="in words, with its unit of measure")
    value = serializers.CharField(allow_null=True, help_text="one number as text, to draw in the band")
    given = serializers.DictField(
        allow_null=True, help_text="readings, temperature and what counts, where a value counts otherwise than read"
    )
    nearest_limit = serializers.CharField(allow_blank=True)
    excess = serializers.CharField(allow_blank=True)
    gauge = serializers.CharField(allow_blank=True)
    answered_by = serializers.CharField(allow_blank=True)
    recorded_at = serializers.DateTimeField(allow_null=True)
    report = serializers.CharField(allow_null=True)
    flags = serializers.ListField(child=serializers.CharField())
    flag_sentences = serializers.ListField(child=serializers.CharField())
    may_repeat = serializers.BooleanField()
    may_correct = serializers.BooleanField()
    first_given = serializers.BooleanField()
    hidden = serializers.BooleanField()
    stands = serializers.DictField(
        child=serializers.UUIDField(), help_text="where two inspect: the operation that stands, by inspection"
    )
    may_inspect = serializers.BooleanField(help_text="this person has given no inspection here, and is not its welder")
    disagree = serializers.BooleanField()
    conflicting = BenchConflicting(many=True, help_text="the answers that stand against each other")
    band = serializers.DictField(allow_null=True, help_text="lower, upper, nominal, guard as text; natural sides")
    rule = serializers.CharField(allow_null=True)
    limits = serializers.CharField()
    notation = serializers.CharField(allow_blank=True)
    unit_of_measure = serializers.CharField(allow_blank=True)
    decimals = serializers.IntegerField(allow_null=True)
    readings = serializers.IntegerField()
    mean = serializers.BooleanField(help_text="the mean of the readings is judged")
    temperature = BenchTemperature(allow_null=True, help_text="the part's temperature is asked")
    form = serializers.CharField(allow_null=True)
    inputs = serializers.ListField(child=serializers.CharField())
    count_at_most = serializers.IntegerField(allow_null=True)
    count_at_least = serializers.IntegerField(allow_null=True)
    criticality = serializers.CharField()
    method = serializers.CharField(allow_blank=True)
    setup = serializers.CharField(allow_blank=True)
    setup_label = serializers.CharField(allow_blank=True)
    gauge_kinds = serializers.ListField(child=serializers.CharField())
    frequency = serializers.CharField()
    second_inspection = serializers.BooleanField()
    photo = serializers.BooleanField(help_text="the answer counts as proven only with a picture")
    photo_taken = serializers.BooleanField(help_text="there is one in this round")
    photos = BenchPhoto(many=True)
    remarks = BenchRemark(many=True)
    joint = serializers.CharField(allow_blank=True)
    document = serializers.CharField(allow_blank=True)
    instruction = serializers.CharField(allow_blank=True)
    caution = serializers.CharField(allow_blank=True)
    paired = BenchPair(allow_null=True)
    spot = BenchSpot(allow_null=True, help_text="where it is on one of the drawings")
    picture = serializers.CharField(allow_null=True, help_text="address of its reference picture")


class BenchGauge(serializers.Serializer[Any]):
    number = serializers.CharField()
    kind = serializers.CharField()
    kind_name = serializers.CharField()
    unit_of_measure = serializers.CharField(allow_blank=True)
    usable = serializers.BooleanField()
    reason = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField(allow_blank=True)
    due_on = serializers.DateField(allow_null=True)
    expanded_uncertainty = serializers.CharField(allow_null=True)
    range_lower = serializers.CharField(allow_null=True, help_text="of the gauge's own unit of measure")
    range_upper = serializers.CharField(allow_null=True)
    setup = serializers.CharField(
        required=False, help_text="until when its set-up check holds, “due”, or empty where none is asked"
    )


class BenchProgress(serializers.Serializer[Any]):
    due = serializers.IntegerField()
    answered = serializers.IntegerField()
    stages = serializers.IntegerField()
    stages_signed = serializers.IntegerField()
    percent = serializers.IntegerField()


class Bench(serializers.Serializer[Any]):
    unit = BenchUnit()
    revision = BenchRevision()
    person = BenchPerson()
    server_time = serializers.DateTimeField()
    holds = BenchHold(many=True)
    progress = BenchProgress()
    stages = BenchStage(many=True)
    drawings = Sheet(many=True)
    checkpoints = BenchCheckpoint(many=True)
    gauges = BenchGauge(many=True)
