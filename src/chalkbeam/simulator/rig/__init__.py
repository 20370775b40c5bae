"""A stand-in for the hardware: camera, projector, platen and cloth, ray-cast.

For the demo, the rehearsal and the tests; never on the product's real path.
Everything here is truth drawn from a seed; nothing here reads a rig file.
"""

from .cloth import Cloth, drape
from .garment_picture import Fabric, GarmentPicture, paint
from .optics import View, look_at
from .photo_file import write_photo
from .render import Projector, radiance
from .rigs import DEFAULT_FACE, Shot, VirtualRig, random_rig, render_photo
from .scene import LaidPrint, Laying, Room, Scene, lay_cards
from .sensor import Sensor
from .texture import Lamp, LitFrame, light_frame

__all__ = [
    "DEFAULT_FACE",
    "Cloth",
    "Fabric",
    "GarmentPicture",
    "LaidPrint",
    "Lamp",
    "Laying",
    "LitFrame",
    "Projector",
    "Room",
    "Scene",
    "Sensor",
    "Shot",
    "View",
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
