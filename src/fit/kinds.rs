//! Registry of what a photo is judged by. Ids are frozen; the docs list comes from here.

/// One thing a photo is judged by.
#[derive(Debug, PartialEq)]
pub struct Kind {
    pub id: &'static str,
    /// What is wrong when the limits are passed, a few words.
    pub fault: &'static str,
    /// The same when it is in order.
    pub fine: &'static str,
    /// The measured number and its unit.
    pub number: &'static str,
    pub unit: &'static str,
    /// The limits in words: from where on care, from where on retake.
    pub limits: &'static str,
    /// Where the limits come from and what happens on either side of them.
    pub why: &'static str,
    /// What to change, for somebody who has never done it.
    pub change: &'static str,
}

macro_rules! registry {
    ($($name:ident = $id:literal, $fault:literal, $fine:literal, $number:literal, $unit:literal, $limits:literal, $why:literal, $change:literal;)*) => {
        $(pub const $name: Kind = Kind {
            id: $id, fault: $fault, fine: $fine, number: $number, unit: $unit, limits: $limits, why: $why, change: $change,
        };)*
        /// Everything a photo is judged by, the most telling first.
        pub const ALL: &[&Kind] = &[$(&$name),*];
    };
}

registry! {
    NO_POCKET = "no-pocket",
        "No pocket can be made out", "pocket in view",
        "none", "",
        "retake when nothing in the picture looks like a pocket with walls",
        "Everything is measured on the floor inside the walls. Without walls the lamp's height is not known either, and anything may be taken for a floor.",
        "take the whole pocket into the picture, with a strip of the stock's top all round it, or give its corners with --outline";
    SHARPNESS = "sharpness",
        "The picture is soft", "sharp",
        "blur of the sharpest edges, one sigma", "px",
        "care from a fifth of the stepover (or 6 px), retake from 35 % of it; where neither scale nor pocket tell the stepover in pixels, 4 and 7 px",
        "A Gaussian blur of a fifth of the spacing leaves 45 % of a line's contrast, of 35 % only 9 %: exp(-2 (pi b/p)^2). A sharp phone photo has about 1 px.",
        "wipe the lens, go no nearer than 20 cm, tap on the floor on the screen until it is sharp, and rest the phone on something";
    PIXELS = "pixels-per-stepover",
        "The passes are too small in the picture", "near enough",
        "pixels per planned stepover", "px",
        "care under 8, retake under 4",
        "Two pixels a period are the least that can hold a line at all, three the least that is measured here. With eight the shape of a ridge shows.",
        "go nearer so that the pocket fills the picture, or photograph half of the pocket; send the original file, not one from a chat";
    LAMP_HIGH = "lamp-high",
        "The lamp stands too high", "lamp low",
        "height of the lamp over the floor", "degrees",
        "care from 27, retake from 42",
        "A slope changes the light by its size times the cotangent of the lamp's height: 10 degrees show a ridge six times as strongly as 45. From 42 degrees on, ridges of a few hundredths of a millimetre drown in the wood's own colour.",
        "put the lamp almost flat on the table, 30 to 60 cm away: the wall's shadow should be four to six times as long as the pocket is deep";
    LAMP_LOW = "lamp-low",
        "The lamp stands very low", "lamp not too low",
        "height of the lamp over the floor", "degrees",
        "care under 5; never retake by itself",
        "Under 5 degrees the wall's shadow is over eleven times the depth and every speck casts one; what floor is left is judged by itself.",
        "raise the lamp a little: the wall's shadow should be four to six times as long as the pocket is deep";
    NO_SHADOW = "no-shadow",
        "No wall casts a clear shadow on the floor", "wall throws a shadow",
        "none", "",
        "care when the walls are in the picture and none shades the floor; retake when the scale or the pocket's outline are in doubt as well",
        "A wall in raking light always shades the floor. Without a shadow the lamp is high, or the light comes from all sides, and ridges hardly show; their height cannot be told either.",
        "darken the room and hold one lamp low beside the work: the wall's shadow should be four to six times as long as the pocket is deep";
    ROOM_LIGHT = "room-light",
        "Room light washes the ridges out", "room dark",
        "lit floor over the wall's shadow", "times",
        "care under 2.5, retake under 1.4",
        "What reaches the shadow reaches the whole floor and shows no ridges: at 2.5 the lamp's share is 60 %, at 1.4 it is 29 %, and every ridge is that much weaker.",
        "switch the ceiling light off and draw the curtains; one lamp alone, and no flash";
    SECOND_LAMP = "second-lamp",
        "A second lamp casts its own shadow", "one lamp",
        "light that a second shadow takes away", "%",
        "care from 15, retake from 45",
        "Each lamp draws every ridge once, from its own side: bright flanks of one fall on dark flanks of the other. Half the light from a second lamp can wipe a ridge out.",
        "switch all lamps but one off, and keep windows and white walls out of play";
    LAMP_ALONG = "lamp-along",
        "The light runs along the passes", "light across the passes",
        "angle between the light and the way across the passes", "degrees",
        "care from 55, retake from 86 unless other lines stand across the light",
        "A ridge shows by the cosine of this angle: 57 % at 55 degrees, a fifth at 78, nothing at 90. At 86 a ridge of 40 um looks like one of 3 um, which is how rough routed wood is anyway. Marks along the passes (turns of the cutter, chatter, a drive) still show.",
        "move the lamp a quarter turn round the work, so that the light runs across the passes; if you do not know their direction, take two photos a quarter turn apart";
    BURNT = "burnt",
        "Part of the floor is burnt out to white", "nothing burnt out",
        "burnt share of the floor", "%",
        "care from 10, retake from 50",
        "White places hold no lines. A tenth costs the bright flanks of the ridges (heights come out too small), half of the floor costs the spacing.",
        "touch the bright floor on the screen and pull the brightness down a little, or move the lamp away";
    BLACK = "black",
        "The floor is too dark", "floor lit",
        "black share of the floor", "%",
        "care from 35, retake from 75",
        "Under code value 4 of 255 noise and compression leave nothing. A long shadow of a deep wall takes a third; more than three quarters leave too little floor.",
        "bring the lamp nearer or let the camera expose longer (touch the lit floor on the screen), phone on a support";
    LITTLE_FLOOR = "little-floor",
        "Only little of the floor is lit and free", "floor free",
        "used share of the floor", "%",
        "care under 20, retake under 6",
        "Marks are measured where the floor is lit, sharp and free. A usual pocket keeps over 40 % of it beside the wall's shadow; under a fifth the spacing rests on few passes.",
        "sweep chips and tools off the floor, and turn or raise the lamp a little so that the walls shade less of it";
    OBLIQUE = "oblique",
        "The camera looks from the side", "camera square",
        "camera off square", "degrees",
        "care from 32, retake from 52",
        "The far side gets the cosine of the angle in pixels and lies out of focus, and a small error of the pose grows: at 32 degrees 15 % fewer pixels, at 52 nearly 40 %.",
        "hold the phone flat above the middle of the pocket, square to the work";
    ALIASED = "aliased",
        "The file was made smaller without care", "not shrunk",
        "response at the pixels' own limit", "%",
        "care from 55; never retake by itself",
        "What is left at half a cycle per pixel folds back as false lines (moire). A lens with its pixels leaves 10 to 30 %, sharpened up to 50; a picture reduced by leaving pixels out close to 100. Response after ISO 12233.",
        "send the file as the camera saved it; do not shrink it, and take no screenshot of it";
    JPEG_BLOCKS = "jpeg-blocks",
        "Compression left a grid of blocks", "hardly compressed",
        "light that jumps at the blocks' borders", "%",
        "care from 0.8 where the blocks' spacing is within 15 % of the stepover, of half or of twice it; else care from 3",
        "Blocks are 8 px wide (ISO/IEC 10918-1), wider or narrower once the file was scaled, and repeat as ridges do. An eye sees lines from about 1 %. Files as phones save them stay under 1 %, chats reach several per cent and wipe faint ridges.",
        "send the file as the camera saved it, by cable, by mail as a file or by a cloud folder, not through a chat";
    SHARPENED = "sharpened",
        "The phone has sharpened the picture strongly", "not over-sharpened",
        "overshoot at edges", "%",
        "care from 14; never retake",
        "A bright and a dark seam follows every edge and looks like a second, smaller line. Usual phones overshoot by 3 to 10 %.",
        "switch scene modes, HDR and 'detail' off, or use the camera's raw or 'natural' setting";
    SMOOTHED = "smoothed",
        "Noise reduction has wiped the finest detail", "detail kept",
        "share of the lit floor without any texture", "%",
        "care from 25; never retake",
        "Means over 4 x 4 px that do not differ by more than rounding does: where no texture is left, faint ridges went with it, in patches. Phones do it in dim light. Sharp photos of wood, board or foam, saved as phones do, have none of it.",
        "give it more light: lamp nearer, phone on a support, night mode off";
    GRAIN_ALONG = "grain-along",
        "The grain runs along the passes", "grain off the passes",
        "angle between grain and passes", "degrees",
        "care under 12 where figure shows; never retake",
        "Lines of the wood that run as the passes do can pass for ridges. Ridges swap their bright and dark side with the lamp, the grain does not.",
        "take a second photo with the lamp on the opposite side, or try the cut across the grain";
    NO_REFERENCE = "no-reference",
        "Nothing of known size is in the picture", "reference in view",
        "none", "",
        "care; never retake",
        "Lines are still found, but in pixels: they cannot be set against the planned stepover, and no height follows.",
        "lay a bank-card sized card flat on the stock beside the pocket, wholly in the picture and lit (cover the numbers, or use the back)";
    REFERENCE_SMALL = "reference-small",
        "The reference is small in the picture", "scale sure",
        "relative sigma of the scale", "%",
        "care from 1; never retake",
        "The scale's error goes into every spacing. At 1 % a stepover rounded by a usual 2 % can no longer be told from the planned one.",
        "go nearer, so that pocket and card fill the picture";
    REFERENCE_FAR = "reference-far",
        "The reference lies far from the pocket", "reference near",
        "distance between their middles over the reference's length", "times",
        "care from 3; never retake",
        "The plane is fixed where the reference lies and is carried over to the pocket: an error of its tilt grows with the distance, counted in its own lengths.",
        "lay the card close beside the pocket";
    POCKET_SMALL = "pocket-small",
        "The pocket is small in the picture", "pocket large",
        "pocket's share of the picture", "%",
        "care under 7; never retake by itself",
        "Pixels are what the ridges are drawn with. Pocket and card together fill a picture with 15 to 60 % pocket.",
        "go nearer, so that pocket and card fill the picture";
    FEW_PASSES = "few-passes",
        "Only a few passes are in view", "passes enough",
        "stepovers across the floor", "",
        "care under 5; never retake",
        "A spacing needs repeats: under five stepovers one odd pass decides it.",
        "show more of the floor: ten passes or more";
}
