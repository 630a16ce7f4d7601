"""Functions that plugins lend to the rule language: checked when a book is read, watched at every call.

A function sees decimals, texts and truths, and nothing of the evaluation. What it answers is always held
against its declared sort; with GAUGEBOOK_TEST=1 also against the members and words it may answer, and it is
asked twice to see that it is pure.
"""

from __future__ import annotations

import decimal
import os
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from .extending import Extensions, Plugin, extensions, reason_of
from .functions import FUNCTIONS, Function
from .hooks import LanguageFunction, NoValue, Quantity
from .messages import MESSAGES
from .model_types import Type
from .runtime import EXACT, Absent
from .units import Unit, UnitError, Units

TEST_VARIABLE = "GAUGEBOOK_TEST"
FLAG, SERIES, TERMS = "flag", "series:", "terms:"
