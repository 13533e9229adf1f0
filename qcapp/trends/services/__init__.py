"""The only writers of trends. None of them changes a result: they decide how charts are computed and read."""

from __future__ import annotations

from .acknowledging import acknowledge_signal
from .freezing import freeze_limits
from .leaving_out import leave_point_out, put_point_back

__all__ = ["acknowledge_signal", "freeze_limits", "leave_point_out", "put_point_back"]
