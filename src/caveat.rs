//! Registry of caveats: the number stands, trust it less. Ids are frozen (a test holds the list).

use serde::Serialize;

/// One kind of caveat: frozen id, one line, long text, what to try.
#[derive(Debug, PartialEq)]
pub struct Kind {
    pub id: &'static str,
    pub line: &'static str,
    pub long: &'static str,
    pub hint: &'static str,
}

/// A caveat raised on one photo: its kind and the words that fit the case.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Caveat {
    pub id: &'static str,
    pub text: String,
    #[serde(rename = "try")]
    pub hint: String,
}

impl Kind {
    /// The caveat with its standing words.
    pub fn plain(&self) -> Caveat {
        self.with(self.line)
    }
    /// The caveat with words that fit the case (numbers, names).
    pub fn with(&self, text: impl Into<String>) -> Caveat {
        Caveat { id: self.id, text: text.into(), hint: self.hint.to_owned() }
    }
}

macro_rules! registry {
    ($($name:ident = $id:literal, $line:literal, $long:literal, $hint:literal;)*) => {
        $(pub const $name: Kind = Kind { id: $id, line: $line, long: $long, hint: $hint };)*
        /// Every caveat there is, in the order of the walk.
        pub const ALL: &[&Kind] = &[$(&$name),*];
    };
}

registry! {
    EXIF_UNREADABLE = "exif-unreadable",
        "The camera's notes in the file (EXIF) are damaged.",
        "The picture itself is whole. Which way up it stands, the date and the focal length may be missing or wrong; without the focal length the scale at the floor is less sure.",
        "if the picture stands wrong, turn it in any viewer and save it again, or send the camera's original";
    COLOUR_PROFILE_UNREADABLE = "colour-profile-unreadable",
        "The colour profile in the file could not be used; its colours were taken for sRGB.",
        "Brightness steps between lines stay right in order; their size may be off by some per cent, and the test for wood colour is less sure.",
        "save the photo again as an ordinary JPEG (sRGB)";
    PHOTO_CROPPED = "photo-cropped",
        "The photo was cropped after it was taken, so the camera's focal length no longer fits it; a usual phone lens was assumed.",
        "The camera noted a picture of another shape than the file has. The focal length in pixels follows from the whole frame, and the scale is carried from the card down to the floor with it.",
        "send the whole, uncropped photo from the camera";
    PLAN_INCOMPLETE = "plan-incomplete",
        "The plan leaves out facts that would help.",
        "Every key of the plan is optional. What is missing is listed with what its absence costs; the causes are then weighed without it and stay closer together.",
        "add the listed keys to the plan file, or give them on the command line";
    PLAN_SLIP_UNITS = "plan-slip-units",
        "A length in the plan is far from any usual size, as if it were in another unit.",
        "Lengths in the plan are taken in the unit that its units key names (mm without one). The number is used as written.",
        "check units = \"mm\" or \"in\" in the plan, or write the unit beside the number, such as \"0.25in\"";
    PLAN_SLIP_SKIM = "plan-slip-skim",
        "The planned skim is far thicker than usual.",
        "A skim is the thin last pass over the whole floor, 0.13 to 0.25 mm (0.005 to 0.010 in; common practice, no source). A thick one loads and bends the bit like a roughing pass and leaves its steps.",
        "check the decimal point of skim";
    PLAN_SLIP_PERCENT = "plan-slip-percent",
        "The planned stepover in percent is very small, as if a fraction had been meant.",
        "stepover_percent is a percentage of the cutter's diameter: 40 is two fifths of it. A value of 1 or less is used as written.",
        "write stepover_percent = 40 for two fifths of the diameter";
    PLAN_SLIP_FEED = "plan-slip-feed",
        "Feed and spindle speed do not fit together or a router.",
        "Feed over speed is the feed per turn; router bits run between about 0.05 and 1 mm. The numbers are used as written, and marks once per turn are then looked for at a pitch that may be wrong.",
        "check feed (per minute, in the plan's unit) and speed_rpm";
    PLAN_SLIP_CUTTER = "plan-slip-cutter",
        "The cutter's shape and corner radius do not agree.",
        "A flat cutter has no corner radius, a ball nose has half its diameter. The shape is believed, the radius left aside.",
        "name a cutter with rounded corners bull-nose";
    TOOLPATH_DIALECT = "toolpath-dialect",
        "The cutting file is written in a dialect: parts of it go beyond the public description it is read by.",
        "Cutting files are read as RS274/NGC (NISTIR 6556) describes them. What many machines write beyond that is read too, each thing named here with its first line, because a machine may understand it otherwise.",
        "check the named lines against what your machine does there";
    TOOLPATH_SKIPPED = "toolpath-skipped",
        "Parts of the cutting file were passed over.",
        "Codes that are not in RS274/NGC (NISTIR 6556), sub-programs, loops and turning axes are not followed. If they cut something, those passes are missing here.",
        "if the named lines cut the floor, save the cutting file again without them: one plain list of moves";
    TOOLPATH_UNITS = "toolpath-units",
        "The cutting file does not say at its start whether its lengths are millimetres or inches.",
        "G20 stands for inches, G21 for millimetres. Without either the machine uses whatever was set last; here the unit was guessed from the size of the numbers.",
        "put G21 (millimetres) or G20 (inches) in the file's first lines, as the machine was set";
    TOOLPATH_COARSE_ARCS = "toolpath-coarse-arcs",
        "Some arcs of the cutting file do not close as well as they should.",
        "The start and the end of an arc must be equally far from its centre, within 0.002 mm or 0.0002 in (NISTIR 6556). Files with few decimals miss that; such arcs are read with the mean of both distances, up to 0.05 mm or a thousandth of the radius.",
        "nothing, or save the cutting file with one more decimal";
    TOOLPATH_ABSOLUTE_CENTRES = "toolpath-absolute-centres",
        "The arcs of the cutting file close only if their centres are places, not steps from the start.",
        "In RS274/NGC (NISTIR 6556) I, J and K are steps from the arc's start. Some machines take them as places. Which one a file means is told by which of the two makes start and end equally far from the centre.",
        "check that your machine takes I and J as places";
    TOOLPATH_RADIUS_COMPENSATION = "toolpath-radius-compensation",
        "The cutting file leaves it to the machine to step aside by the cutter's radius.",
        "With G41 or G42 the cutter runs beside the written line, by a radius that stands only in the machine. Passes are taken here where the line is written; spacings are right, places are off by up to that radius.",
        "save the cutting file with the path of the cutter's centre";
    TOOLPATH_PLACE_UNKNOWN = "toolpath-place-unknown",
        "The cutting file leaves places open that stand only in the machine.",
        "Offsets of coordinate systems, probing and the machine's home position are not in the file. Moves that depend on them are left out of the lengths, or laid where they would be with all of them zero.",
        "nothing, if the floor's passes are right; else save the file in one coordinate system";
    TOOLPATH_NO_FEED = "toolpath-no-feed",
        "The cutting file does not give feed or spindle speed for all of its cuts.",
        "Without them the cutting time is too short, and marks once per turn have no expected spacing.",
        "give feed and speed_rpm in the plan";
    TOOLPATH_AGAINST_PLAN = "toolpath-against-plan",
        "The plan and the cutting file do not say the same.",
        "What the cutting file says is what the machine ran, so its value is used; a value given on the command line wins over both.",
        "correct the plan, or check that this is the file that cut the pocket";
    TOOLPATH_STOCK_TOP = "toolpath-stock-top",
        "Zero of the cutting file was taken for the stock's top.",
        "A cutting file gives heights from its zero, which is mostly the stock's top and sometimes the table. The pocket's depth follows from it, and with the depth the lamp's height and the scale on the floor.",
        "give the pocket's depth with --depth or in the plan";
    TOOLPATH_NO_FLOOR = "toolpath-no-floor",
        "The cutting file cuts no flat floor of passes side by side.",
        "A slope or a carved surface has passes and a spacing, but no one level; single lines and holes have not even that. The plan's own values stand for what is missing.",
        "give the file that cleared the pocket's floor";
    TOOLPATH_UNEVEN_SPACING = "toolpath-uneven-spacing",
        "The passes of the cutting file are not all one distance apart.",
        "No one distance holds for half of the passes. The commonest is used where the plan gives no stepover.",
        "give the stepover that was set in the plan";
    TOOLPATH_SEVERAL_TOOLS = "toolpath-several-tools",
        "More than one tool cuts at the floor's level.",
        "Where two cutters meet on one floor, a step shows unless their zeros agree. The passes described are those of the tool that cuts most of the floor.",
        "describe the other cutter under second_cutter in the plan";
    NO_FOCAL_LENGTH = "no-focal-length",
        "The photo does not carry the camera's focal length; a usual phone lens was assumed.",
        "The scale at the floor is carried from the card by the camera's distance, which follows from the focal length. Without it a phone's main lens (26 mm equivalent, one sigma 15 %) is assumed and the scale's sigma grows.",
        "send the original file from the phone, not a copy from a chat, which often loses these data";
    REFERENCE_LEVEL_ASSUMED = "reference-level-assumed",
        "Which plane the reference lies on, the stock's top or the pocket's floor, was not certain.",
        "A reference on the stock's top lies nearer to the camera than one on the floor; taking the one for the other changes every length by the depth over the camera's distance, 1 to 5 percent.",
        "say where it lies: reference level rim or floor, in the plan or on the command line";
    PRINT_NOT_MEASURED = "print-not-measured",
        "The printed card was taken to be as large as it was drawn; nobody measured the print.",
        "Printers stretch or shrink a page by some tenths of a percent, and \"fit to page\" by 2 to 8 percent. The bars of 100 mm beside the card tell by how much. Until they are measured the scale counts as known to 0.3 percent only, and a page that was fitted would go unseen.",
        "measure both printed bars with a caliper or a good rule and give them with --card-measured, such as --card-measured 99.4x99.7mm";
    LENS_UNKNOWN = "lens-unknown",
        "The thing of known size covers too little of the photo to show how the lens bends it.",
        "Lenses bend straight lines a little, most towards the photo's border, and the scale changes with it. A card near the border says little of the lens, so the scale at the photo's middle is less sure; the doubt is part of its sigma.",
        "lay the card beside the place of interest, near the middle of the photo, or lay a second one on the other side";
    REFERENCES_DISAGREE = "references-disagree",
        "Two things of known size in the photo do not agree on the scale.",
        "Each says how many millimetres a pixel is on the floor. They differ by more than three times the doubt of the difference, so one of them is not the size it was taken for, or does not lie where it was taken to lie. The most trusted one is used (two that agree outvote a third), and the doubt of the scale is widened by half of the difference.",
        "check the pocket's size and depth in the plan, and that card, rule or coin lie flat on the face they were taken to lie on";
    COIN_UNCLEAR = "coin-unclear",
        "The named coin could not be told in the photo; it was not used.",
        "A coin is looked for as a circle of its own size. Where none shows all round, or where other round things could be it as well, a wrong one would give a wrong scale.",
        "lay the coin flat and free beside the pocket, take other round things away, and show it whole";
    RULER_UNCLEAR = "ruler-unclear",
        "The rule could not be read; it was not used.",
        "The ticks of a rule give the scale by their spacing. Which spacing it is shows in the longer ticks: every fifth and tenth on a metric rule, every second, fourth, eighth and sixteenth on an inch rule. Where they do not show, half a millimetre can pass for a whole one.",
        "say what neighbouring ticks are apart with --ruler mm, half-mm, 1/16in or 1/32in, and where the ticked edge runs with --ruler-edge";
    MARKS_OF_ANOTHER_FILE = "marks-of-another-file",
        "The marks made by hand were made on another file than this photo.",
        "The file of marks names the photo by its checksum. A photo of the same size that was saved again carries the same places; another photo does not, and every length would then be wrong.",
        "mark this photo: lowsun mark writes the page";
    SCALE_FROM_DISTANCE = "scale-from-distance",
        "The scale comes from one distance between two points.",
        "Two points give a scale where the camera stood square above. A slant shows in neither of them: held by hand, a phone leans by about five degrees (common practice, no source), which changes the scale from one side of the photo to the other by some per cent. That is part of the sigma.",
        "mark the four corners of a rectangle of known size instead";
    NO_REFERENCE = "no-reference",
        "Nothing of known size was found in the photo; the marks are given in pixels only.",
        "Without a known size no pitch, height or width can be given in millimetres or inches, and the pitch cannot be set against the planned stepover.",
        "lay a bank-card sized card flat on the stock beside the pocket; or mark what you know in mark.html (beside the report, or from lowsun mark) and give the saved file with --marks";
    DEPTH_UNKNOWN = "depth-unknown",
        "The pocket's depth is not in the plan, so the scale was not carried from the rim down to the floor.",
        "A card on the stock lies nearer to the camera than the floor; at phone distances this is 0.5 to 2 percent of every length.",
        "give the pocket depth with --depth or in the plan";    OUTLINE_ASSUMED = "outline-assumed",
        "No pocket wall was found; the whole photo was taken as pocket floor.",
        "A close-up that shows nothing but floor is fine. If the photo also shows the stock round the pocket, marks of the stock's own face are measured with the floor's.",
        "show the whole pocket with all its walls, or give its outline with --outline";
    FLOOR_BURNT = "floor-burnt",
        "A good part of the floor is burnt out to white.",
        "Where the picture is clipped, brightness no longer follows the slope: ridges lose their lit flanks and heights come out too small.",
        "expose for the floor: touch it on the phone's screen before taking the photo, or lower the exposure by one step";
    LAMP_HIGH_OR_DIFFUSE = "lamp-high-or-diffuse",
        "No wall casts a clear shadow on the floor: the lamp stands high, or the light comes from all sides.",
        "Ridges of some hundredths of a millimetre show only in light that grazes the floor. In high or diffuse light they vanish, and nothing seen does not mean nothing there.",
        "darken the room and hold one small lamp low beside the pocket, 5 to 20 degrees above the floor, across the passes";
    LITTLE_FLOOR_LEFT = "little-floor-left",
        "Only a small part of the pocket shows lit floor; the rest is shadow, wall, clutter or burnt out.",
        "Marks are measured only where the floor is lit, sharp and free. With little of it the pitch rests on few passes and strips can be missed.",
        "turn the lamp or raise it a little so that less of the floor lies in the walls' shadow, and clear chips away";
    OPPOSITE_NOT_REGISTERED = "opposite-not-registered",
        "The second photo could not be laid on the first; it was left out.",
        "Relief is told from colour by the difference of two photos of one floor, lit from opposite sides. They must show the same floor from nearly the same place, and most of it lit in both: a tenth of a millimetre of misfit already turns fine wood figure into false relief.",
        "keep the phone where it is (lean it on something) and move only the lamp to the other side; let most of the floor be lit in both photos";
    OPPOSITE_LAMP = "opposite-lamp",
        "The two lamps do not stand on opposite sides of the floor.",
        "Relief swaps its light and shade only where the second lamp stands opposite the first, seen from above. The farther from 180 degrees, the more relief is left in what passes for colour.",
        "move the lamp straight over the pocket to the other side, at about the same height";
    RIM_NOT_JUDGED = "rim-not-judged",
        "Burr and torn fibre along the top edges were not judged.",
        "Burr is a quarter to half a millimetre wide. It shows where the photo has some seven pixels per millimetre or more, is sharp, and shows free, evenly lit stock beside the edge. Where it does not, nothing is said of the rim: that is not the same as a clean one.",
        "go nearer or take a second photo of one side of the rim, and keep the stock beside the edge free and out of shadow";
    PLAN_SLIP_STEPOVER = "plan-slip-stepover",
        "The lines are not spaced as the plan says.",
        "The pitch was measured with its uncertainty and differs from the planned stepover by far more. Usual reasons: the share was taken of another diameter or of the radius, inches and millimetres were mixed, or another setting was cut.",
        "compare the plan with what the machine really ran";
    PLAN_SLIP_TWICE = "plan-slip-twice",
        "The lines stand at half or at double the planned stepover.",
        "Half comes from a share taken of the radius in place of the diameter, or from a second pass between the passes; double from a setting entered as the radius, or from passes of which every second one shows.",
        "check which length the stepover's share was taken of, and whether the floor was gone over once or twice";
    PLAN_SLIP_INCH = "plan-slip-inch",
        "The lines stand where the planned stepover's number gives them in the other unit.",
        "One inch is 25.4 mm. A number typed under the wrong unit is that many times too large or too small.",
        "check the unit in the plan and in the file that the machine ran";
    PLAN_SLIP_DIAMETER = "plan-slip-diameter",
        "The lines stand where the planned share of another cutter's diameter would put them.",
        "A stepover given as a percentage follows the cutter that the file was made for. Another diameter there, or the second cutter's, gives another stepover.",
        "check which cutter the stepover's percentage was taken of";
    STEPOVER_ROUNDED = "stepover-rounded",
        "The stepover was rounded down so that whole passes fill the pocket.",
        "A stepover is often made a little smaller so that passes divide the way between the walls evenly: (W - D) / ceil((W - D) / s). That is no fault.",
        "nothing; give the real stepover in the plan if you want the exact number compared";
    AXIS_SCALE = "axis-scale",
        "The pitch differs from the plan by a little more than its uncertainty.",
        "A small, steady difference comes from a stepover that was rounded, from an axis whose steps per length are a little off, or from a scale reference that is not what it was taken for.",
        "cut two lines 100 mm apart and measure between them with a rule";
    PLAN_SLIP_HELIX = "plan-slip-helix",
        "The marks do not fit the planned helix.",
        "A down-cut is pushed up by a heavy cut and leaves a clean rim; an up-cut pulls itself in and frays the rim. Seen the other way round, the cutter is another one, is dull, or the strip has another reason.",
        "look at the cutter: seen from the side, chips of an up-cut climb towards the shank";
}
