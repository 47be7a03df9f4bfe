from pathlib import Path

OUTSIDE = Path(__file__).resolve().parents[1] / "outside"
