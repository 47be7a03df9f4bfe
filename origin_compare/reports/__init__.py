"""What leaves the house: grower letters and exports."""

from origin_compare.reports.letter_pdf import letter_pdf, unknowns

__all__ = ["letter_pdf", "unknowns"]
