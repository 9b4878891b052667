"""What the pages say, where it is not English."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """Texts of the pages by the English ones; what is missing or "" stays English."""

    language: str = "en"
    texts: Mapping[str, str] = field(default_factory=dict)
