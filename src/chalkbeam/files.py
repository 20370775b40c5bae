"""Files written whole or not at all."""

from calibration.files import write_whole

__all__ = ["write_whole"]
