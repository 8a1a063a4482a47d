"""The one table of flags: what was noticed, in a sentence, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Flag:
    """Something a reader of a result must know, and the mend."""

    name: str
    sentence: str
    mend: str


_TABLE = (
    Flag(
        "clipped",
        "Some pixels are at the top of the scale; they were left out of the mean.",
        "Halve the exposure and photograph again.",
    ),
    Flag(
        "colour-from-bounds",
        "Nearly all of the sample is at the top of the scale: of the clipped channels it was only reckoned "
        "that they are at least so bright, and the region is as wide as that leaves it.",
        "Halve the exposure and photograph again: this colour is a stopgap.",
    ),
    Flag(
        "colour-not-told",
        "What is left when stray light is taken off is too little, or too uncertain, to tell any colour.",
        "Photograph in the dark, on black card, with a filter that holds the lamp's violet back.",
    ),
    Flag(
        "underexposed",
        "The brightest channel uses less than 2 % of the scale, so noise dominates.",
        "Expose longer, from a tripod, at the same ISO.",
    ),
    Flag(
        "rendered-file",
        "This file was developed: white balance, tone curve and gamut limits are unknown to us.",
        "Save raw (DNG) beside the JPEG, and measure that.",
    ),
    Flag(
        "automatic-white-balance",
        "White balance was automatic: the camera shifted the colours by an unknown amount.",
        "Fix white balance to daylight, or save raw.",
    ),
    Flag(
        "merged-by-phone",
        "The phone merged or edited several frames; levels are no longer proportional to light.",
        "Switch night mode and automatic merging off, or save raw.",
    ),
    Flag(
        "edited-file",
        "An editing program saved this file; what it changed is unknown to us.",
        "Measure the file as the camera wrote it.",
    ),
    Flag(
        "shows-a-chart",
        "The photograph shows a colour chart, whose patches are lit and do not glow: they are no samples.",
        "Make a camera file of it with glowkin camera fit, or outline the samples.",
    ),
    Flag(
        "lamp-leakage",
        "Violet light of the lamp, scattered by the sample, may be part of the colour.",
        "Put a UV-blocking long-pass filter before the lens, or a cleaner lamp filter.",
    ),
    Flag(
        "room-light",
        "Light other than the lamp's lies on the scene.",
        "Darken the room, and take a lamp-off frame with the same exposure.",
    ),
    Flag(
        "glowing-background",
        "The background itself glows, as paper and cotton with optical brighteners do.",
        "Photograph on matt black card that stays dark under the lamp.",
    ),
    Flag(
        "out-of-gamut",
        "A channel is at zero: the true colour is more saturated than this file can hold.",
        "Save raw; failing that, a wide-gamut colour space.",
    ),
    Flag(
        "no-profile",
        "The file names no colour space; sRGB was assumed.",
        "Send the camera's own file, not a copy passed through a messenger.",
    ),
    Flag(
        "time-missing",
        "The file does not say when it was taken.",
        "Send the camera's own file, or put the time in its name: 2026-05-04T13-30-00.",
    ),
    Flag(
        "no-start-time",
        "Time zero is the first photograph, not the start of the change.",
        "Give the time the vial was opened with --start.",
    ),
    Flag(
        "exposure-changed",
        "Exposure differs between photographs; it was divided out as far as the metadata tell.",
        "Keep exposure time, ISO and aperture fixed over a series.",
    ),
    Flag(
        "lamp-off-mismatch",
        "A frame beside the photograph differs from it in exposure, white balance or framing, or is clipped.",
        "Take such frames right after, from the same tripod, with the same settings; glowkin check names it.",
    ),
    Flag(
        "frame-left-out",
        "A frame given beside the photograph cannot be what it was given as, and was left out: a lamp-off "
        "frame or a blank that shows the samples glow, a lens-capped frame with light on it.",
        "Let glowkin check say which with the same frames, and take it anew.",
    ),
    Flag(
        "moved",
        "The camera moved between photographs; the samples were followed.",
        "Use a tripod or a marked position.",
    ),
    Flag(
        "bracket-disagrees",
        "The exposures merged do not show the same light: something moved or faded, or the camera developed "
        "them differently.",
        "Take a bracket as raw files, quickly, from a tripod, under a warm lamp.",
    ),
    Flag(
        "maybe-swapped",
        "Two samples may have changed places.",
        "Check the labels; if they did, say so with --swapped PHOTO:NAME,NAME.",
    ),
    Flag(
        "put-elsewhere",
        "A vial left its place as one of its looks came to another: they were taken for one, though no two "
        "places are lit alike.",
        "Mark where every vial stands. If they are two, track the photographs before and after apart.",
    ),
    Flag(
        "late-sample",
        "A sample was not found in the first photographs; its course begins where it was first seen.",
        "Photograph all samples from the start; outline one that glows too weakly with --outlines.",
    ),
    Flag(
        "vanished",
        "A sample was not found in the last photographs; its course ends where it was last seen.",
        "Look whether it was taken away, hidden or went dark; outline it with --outlines.",
    ),
    Flag(
        "rests-on-one-photo",
        "Only the first or only the last photograph of this sample differs from all others: a change, or a "
        "spoiled photograph.",
        "Photograph the end once more; in a new series the beginning more often.",
    ),
    Flag(
        "uneven-sample",
        "The colour differs across the sample; the mean may describe no part of it.",
        "Spread the powder evenly, or outline one part with --outlines.",
    ),
    Flag(
        "not-a-single-band",
        "No single emission band explains the three channels.",
        "Quote the chromaticity only; band centre and width do not apply.",
    ),
    Flag(
        "lit-by-neighbour",
        "A brighter neighbour throws light on this sample.",
        "Move the samples apart, or put black card between them.",
    ),
    Flag(
        "edge-of-frame",
        "The sample touches the edge of the photograph and is measured in part.",
        "Step back, or move the sample inwards.",
    ),
    Flag(
        "camera-unlike-prior",
        "This camera is unlike those that tell what cameras are like; its error was widened for that.",
        "Check how its camera file was made: of a chart corners, light and filter, of a table columns and "
        "filter; photograph a chart in daylight, and known lights with it.",
    ),
    Flag(
        "other-camera",
        "The camera file was made with another camera.",
        "Make a camera file with the camera in use.",
    ),
    Flag(
        "other-filter",
        "The camera file was made with another filter before the lens.",
        "Use the same filter for calibration and samples, and name it with --filter.",
    ),
    Flag(
        "out-of-focus",
        "The picture is out of focus: every edge is soft, so light of the surroundings mixes in.",
        "Focus by hand on the samples with the room light on, then switch it off.",
    ),
    Flag(
        "shaken",
        "The camera moved during the exposure: edges are soft in one direction.",
        "Use a tripod and a timer or remote release.",
    ),
    Flag(
        "fogged",
        "Glass around a sample spreads its light, as mist on a cold vial does.",
        "Let cold vials warm up closed, wipe them, then photograph.",
    ),
    Flag(
        "sample-too-small",
        "A sample covers too few pixels for a mean clear of its edges.",
        "Go closer, or use a longer lens or a macro setting.",
    ),
    Flag(
        "noisy",
        "Noise, not light, decides the colour of the dimmest sample.",
        "Lower the ISO and expose longer, from a tripod.",
    ),
    Flag(
        "brightness-range",
        "The samples differ so much in brightness that one exposure does not serve all of them.",
        "Take several exposures, or photograph bright and dim samples apart.",
    ),
    Flag(
        "flicker-banding",
        "Bands of bright and dark lie over the picture: the lamp flickers while the sensor is read out.",
        "Expose for 1/10 s or longer, or run the lamp from a battery at full power.",
    ),
    Flag(
        "lamp-hot-spot",
        "The lamp lights one side of the scene more than the other.",
        "Move the lamp farther away, and aim it at the middle of the samples.",
    ),
    Flag(
        "vignetting",
        "Brightness falls from the middle of the picture to its corners.",
        "Stop the lens down, keep the samples near the middle, or take a flat frame.",
    ),
    Flag(
        "no-sample",
        "Nothing in the photograph stands out as a sample.",
        "Darken the room, expose longer, or give --outlines.",
    ),
    Flag(
        "metadata-stripped",
        "The file has lost all that the camera wrote into it, as copies sent by messengers do.",
        "Copy the camera's own file by cable or card, or send it as a file, not as a picture.",
    ),
    Flag(
        "white-balance-changed",
        "The colours of all samples shift together between photographs: the white balance changed.",
        "Fix white balance to daylight for the whole series, or save raw.",
    ),
    Flag(
        "reference-off",
        "The reference glow does not show the colour that is known of it, beyond what errors allow.",
        "Check the reference, its concentration and the lamp; leave --reference away until it agrees.",
    ),
    Flag(
        "spectrum-cut-off",
        "The spectrum still glows where its range ends: the colour misses the light beyond.",
        "Measure from 380 to 780 nm, or as far as the emission reaches.",
    ),
    Flag(
        "spectrum-below-zero",
        "The spectrum goes below zero: its baseline is off, or noise is large.",
        "Take off the blank or the dark signal, or measure longer.",
    ),
    Flag(
        "spectrum-coarse",
        "The spectrum has steps of more than 10 nm: narrow bands are lost between them.",
        "Export it in steps of 1 to 5 nm.",
    ),
    Flag(
        "light-is-not-amount",
        "How bright the forms are relative to each other is unknown: shares are of light, not of amount.",
        "Keep a stable control in every photograph and follow the change to its end.",
    ),
    Flag(
        "form-contradicted",
        "What was given of the forms does not fit the photographs: their light is no mixture of such forms "
        "within the errors, beginning with the old one; it was not used.",
        "Look whether the right sample was named, old and new are not exchanged, and the lamp and filter are "
        "the same.",
    ),
    Flag(
        "single-vial",
        "One vial: vial-to-vial scatter is unknown, so this is not evidence about the storage.",
        "Follow at least three vials for each condition.",
    ),
    Flag(
        "spoiled-frame",
        "A photograph does not fit the course that all others of this sample describe; it was not counted.",
        "Look for a finger or a shadow, another vial in its place, or a blurred picture.",
    ),
    Flag(
        "beyond-temperatures",
        "A half-time was reckoned for a temperature beyond those watched, where another step may decide.",
        "Keep and watch a few vials at that temperature.",
    ),
    Flag(
        "lamp-not-steadied",
        "No control, reference glow or violet on the ground steadies the lamp: brightness is not compared "
        "between photographs.",
        "Keep a stable control or a reference glow in every photograph, and name it with --control or "
        "--reference.",
    ),
    Flag(
        "lamp-by-violet",
        "Without a control or a reference glow the lamp was steadied by its own violet on the dark ground.",
        "Keep a stable control in every photograph and name it with --control: violet and ultraviolet of a "
        "lamp may go apart.",
    ),
    Flag(
        "lamp-changed",
        "The lamp was changed within the series: brightness before and after is not compared.",
        "Keep one lamp for a series; failing that, photograph everything under both when you change.",
    ),
    Flag(
        "arrangement-moved",
        "Samples or lamp were moved within the series: brightness before and after is compared within 20 % "
        "only.",
        "Mark where everything stands, and put it back there.",
    ),
    Flag(
        "condition-changed",
        "The sample was opened, sealed or warmed within the series: one rate law does not hold "
        "for all of it.",
        "Follow the time before and the time after as two series.",
    ),
    Flag(
        "control-fades",
        "A control loses light against the reference glow: its bleaching was divided out of the samples, as "
        "if they bleach alike.",
        "Switch the lamp on for the exposure only; take a control of the samples' own kind.",
    ),
    Flag(
        "across-lamps",
        "The photographs were taken under different lamps: another excitation shows two forms in another "
        "ratio.",
        "Compare what was photographed under one lamp; photograph a control under both.",
    ),
    Flag(
        "across-filters",
        "The photographs were taken through different filters, before the lamp or the lens.",
        "Use the same filters throughout, or give each its own camera file.",
    ),
    Flag(
        "across-temperatures",
        "The samples were more than 3 °C apart in temperature when photographed, and emission shifts with "
        "temperature.",
        "Let the samples come to one temperature, closed, before each photograph.",
    ),
    Flag(
        "across-states",
        "What is compared or followed was not in one state throughout (wet, dried, ground): solvent and "
        "grain size change brightness and can shift colour without any change of form.",
        "Compare samples in one state; photograph one of them in both states to see what the state does.",
    ),
)

FLAGS: dict[str, Flag] = {flag.name: flag for flag in _TABLE}
