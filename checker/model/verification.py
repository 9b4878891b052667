"""What came of comparing a report's folder with its manifest."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """A report's folder against its manifest; paths are relative, with forward slashes.

    manifest_sha256: of the manifest itself, which lists every other file. count, size: of the files
    that the manifest lists, size in bytes. altered: other content than listed, or no plain file.
    missing: listed and not there. added: there and not listed.
    """

    path: str
    manifest_sha256: str
    count: int
    size: int
    altered: tuple[str, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]

    @property
    def unaltered(self) -> bool:
        """Whether the folder holds what the manifest lists and nothing else."""
        return not (self.altered or self.missing or self.added)
