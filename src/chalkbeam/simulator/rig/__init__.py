"""A stand-in for the hardware: camera, projector, platen and cloth, ray-cast.

For the demo and the tests; never on the product's real path.
Everything here is truth drawn from a seed; nothing here reads a rig file.
"""

from chalkbeam.simulator.rig.cloth import Cloth, drape
from chalkbeam.simulator.rig.garment_picture import ClothReflectance, GarmentPicture, paint
from chalkbeam.simulator.rig.optics import Lens, look_at
from chalkbeam.simulator.rig.photo_file import write_photo
from chalkbeam.simulator.rig.render import Projector, radiance
from chalkbeam.simulator.rig.rigs import (
    DEFAULT_FACE,
    PlannedPhoto,
    VirtualRig,
    random_rig,
    render_photo,
)
from chalkbeam.simulator.rig.scene import LaidPrint, Laying, PressScene, RoomLight, lay_cards
from chalkbeam.simulator.rig.sensor import Sensor
from chalkbeam.simulator.rig.texture import Lamp, LitFrame, light_frame

__all__ = [
    "DEFAULT_FACE",
    "Cloth",
    "ClothReflectance",
    "GarmentPicture",
    "LaidPrint",
    "Lamp",
    "Laying",
    "Lens",
    "LitFrame",
    "PlannedPhoto",
    "PressScene",
    "Projector",
    "RoomLight",
    "Sensor",
    "VirtualRig",
    "drape",
    "lay_cards",
    "light_frame",
    "look_at",
    "paint",
    "radiance",
    "random_rig",
    "render_photo",
    "write_photo",
]
