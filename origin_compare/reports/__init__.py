"""What leaves the house: grower letters and exports."""

from origin_compare.reports.exports import safe_csv, safe_xlsx
from origin_compare.reports.letter_pdf import LetterFault, letter_pdf, unknowns

__all__ = ["LetterFault", "letter_pdf", "safe_csv", "safe_xlsx", "unknowns"]
