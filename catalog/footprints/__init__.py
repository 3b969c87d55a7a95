"""Import of open footprint files: one half per footprint, grouped into series, with matings proposed.

Use `import_folders`.
"""

from catalog.footprints.folder_import import FootprintImport, FootprintReport, Skipped, import_folders

__all__ = ["FootprintImport", "FootprintReport", "Skipped", "import_folders"]
