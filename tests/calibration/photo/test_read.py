import numpy as np
import pillow_heif
import pytest
from PIL import ExifTags, Image

from calibration.photo.read import Photo, check_light, read_photo
from calibration.refusal import Refusal

# EXIF 2.32, tag 0x0112: how a viewer must turn what is stored to see it upright.
TURNED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def scene(width=800, height=600):
    """A picture that tells its four corners apart: red, green, blue, white from the top left."""
    pixels = np.full((height, width, 3), 90, np.uint8)
    pixels[: height // 2, : width // 2] = (220, 30, 30)
    pixels[: height // 2, width // 2 :] = (30, 220, 30)
    pixels[height // 2 :, : width // 2] = (30, 30, 220)
    pixels[height // 2 :, width // 2 :] = (230, 230, 230)
    return Image.fromarray(pixels)


def corners(photo):
    """BGR of the four quarters' middles: top left, top right, bottom left, bottom right."""
    height, width = photo.image.shape[:2]
    return [
        photo.image[round(height * v), round(width * u)].astype(int)
        for v in (0.25, 0.75)
        for u in (0.25, 0.75)
    ]


def assert_upright(photo):
    expected = [(30, 30, 220), (30, 220, 30), (220, 30, 30), (230, 230, 230)]
    for seen, wanted in zip(corners(photo), expected, strict=True):
        assert np.abs(seen - wanted).max() < 30


def exif_with(base=None, details=None):
    exif = Image.Exif()
    for tag, value in (base or {}).items():
        exif[tag] = value
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    ifd.update(details or {})
    return exif


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tiff"])
def test_common_formats_are_read_as_bgr(tmp_path, suffix):
    path = tmp_path / f"photo.{suffix}"
    scene().save(path)
    photo = read_photo(path)
    assert photo.name == path.name
    assert photo.size == (800, 600)
    assert_upright(photo)


@pytest.mark.parametrize("orientation", sorted(TURNED))
@pytest.mark.parametrize("suffix", ["jpg", "heic"])
def test_orientation_is_applied_once(tmp_path, orientation, suffix):
    pillow_heif.register_heif_opener()
    undo = {
        Image.Transpose.ROTATE_90: Image.Transpose.ROTATE_270,
        Image.Transpose.ROTATE_270: Image.Transpose.ROTATE_90,
    }
    stored = scene().transpose(undo.get(TURNED[orientation], TURNED[orientation]))
    path = tmp_path / f"photo.{suffix}"
    # As bytes: only so does the HEIC writer also turn the picture in its own way, as
    # phones do; turning it once more by EXIF would be the mistake.
    exif = exif_with({ExifTags.Base.Orientation: orientation}).tobytes()
    stored.save(path, exif=exif, quality=90)
    photo = read_photo(path)
    assert photo.size == (800, 600)
    assert_upright(photo)


def test_sixteen_bit_and_transparent_pictures_are_read(tmp_path):
    deep = np.linspace(0, 65535, 800 * 600).reshape(600, 800).astype(np.uint16)
    Image.fromarray(deep).save(tmp_path / "deep.png")
    image = read_photo(tmp_path / "deep.png").image
    assert image.max() == 255
    assert np.median(image) == pytest.approx(127, abs=2)
    scene().convert("RGBA").save(tmp_path / "clear.png")
    assert_upright(read_photo(tmp_path / "clear.png"))


def test_focal_length_from_the_35_mm_equivalent(tmp_path):
    # CIPA DCG-001: equivalent focal length goes by the diagonal, 43.27 mm on film. A
    # 4:3 phone with 26 mm equivalent and 4032 x 3024 px: 26 / 43.27 * 5040 = 3028 px.
    path = tmp_path / "photo.jpg"
    details = {ExifTags.Base.FocalLengthIn35mmFilm: 26}
    scene(1600, 1200).save(path, exif=exif_with(details=details))
    assert read_photo(path).focal_hint == pytest.approx(26 / 43.2666 * 2000, rel=1e-4)


def test_focal_length_from_the_sensor_s_density(tmp_path):
    # 50 mm on a sensor of 4000 px / in: 50 / 25.4 * 4000 px, halved with the picture.
    path = tmp_path / "photo.jpg"
    details = {
        ExifTags.Base.FocalLength: 50.0,
        ExifTags.Base.FocalPlaneXResolution: 4000.0,
        ExifTags.Base.FocalPlaneResolutionUnit: 2,
        ExifTags.Base.ExifImageWidth: 1600,
        ExifTags.Base.ExifImageHeight: 1200,
    }
    scene().save(path, exif=exif_with(details=details))
    assert read_photo(path).focal_hint == pytest.approx(50 / 25.4 * 4000 / 2, rel=1e-3)


def test_a_cropped_photo_has_no_focal_hint(tmp_path):
    path = tmp_path / "photo.jpg"
    details = {
        ExifTags.Base.FocalLengthIn35mmFilm: 26,
        ExifTags.Base.ExifImageWidth: 1600,
        ExifTags.Base.ExifImageHeight: 1200,
    }
    scene(800, 800).save(path, exif=exif_with(details=details))
    assert read_photo(path).focal_hint is None


def test_no_exif_no_hint(tmp_path):
    scene().save(tmp_path / "plain.png")
    photo = read_photo(tmp_path / "plain.png")
    assert photo.focal_hint is None
    assert photo.camera == "unknown camera 800x600"


def test_cameras_lenses_and_sizes_are_told_apart(tmp_path):
    def key(model, focal, size=(800, 600)):
        path = tmp_path / "photo.jpg"
        base = {ExifTags.Base.Make: "Ternphone", ExifTags.Base.Model: model}
        details = {ExifTags.Base.FocalLength: focal, ExifTags.Base.FocalLengthIn35mmFilm: 26}
        scene(*size).save(path, exif=exif_with(base, details))
        return read_photo(path).camera

    keys = [key("One", 5.7), key("One", 2.2), key("Two", 5.7), key("One", 5.7, (600, 800))]
    assert len(set(keys)) == 4
    assert key("One", 5.7) == keys[0]


def refused(path, *, words):
    with pytest.raises(Refusal, match=words) as caught:
        read_photo(path)
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert sentence.count(".") == 1 + path.name.count(".") * sentence.count(path.name)


def test_what_is_no_photo_is_refused(tmp_path):
    refused(tmp_path / "none.jpg", words="no photo at")
    refused(tmp_path, words="is a folder")
    (tmp_path / "text.jpg").write_text("hello")
    refused(tmp_path / "text.jpg", words="no photo that can be read")
    (tmp_path / "empty.png").write_bytes(b"")
    refused(tmp_path / "empty.png", words="empty.png is empty")


def test_a_cut_off_file_is_refused(tmp_path):
    rng = np.random.default_rng(0)
    noise = Image.fromarray(rng.integers(0, 255, (600, 800, 3), np.uint8))
    for suffix in ("jpg", "png", "heic"):
        whole = tmp_path / f"whole.{suffix}"
        noise.save(whole)
        cut = tmp_path / f"cut.{suffix}"
        cut.write_bytes(whole.read_bytes()[:20000])
        with pytest.raises(Refusal, match=r"damaged or incomplete|no photo that can be read"):
            read_photo(cut)


def test_tiny_dark_and_washed_out_photos_are_refused(tmp_path):
    for name, picture, words in (
        ("tiny.png", scene(320, 240), "only 320 x 240 pixels"),
        ("black.png", Image.new("RGB", (800, 600), (6, 8, 7)), "too dark"),
        ("white.png", Image.new("RGB", (800, 600), (254, 254, 255)), "washed out white"),
    ):
        picture.save(tmp_path / name)
        refused(tmp_path / name, words=words)


def test_panoramas_are_refused(tmp_path):
    scene(2000, 600).save(tmp_path / "long.jpg")
    refused(tmp_path / "long.jpg", words="panorama")
    marked = {ExifTags.Base.CustomRendered: 6}
    scene().save(tmp_path / "marked.jpg", exif=exif_with(details=marked))
    refused(tmp_path / "marked.jpg", words="panorama")
    # A vendor's word for a stitched picture: Google's photo sphere XMP metadata, GPano.
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><GPano:ProjectionType>cylindrical'
    scene().save(tmp_path / "sphere.jpg", xmp=xmp)
    refused(tmp_path / "sphere.jpg", words="panorama")


def test_frames_of_a_live_camera_are_judged_alike():
    with pytest.raises(Refusal, match="too dark"):
        check_light(Photo("camera 0", np.zeros((720, 1280, 3), np.uint8), "camera 0"))
