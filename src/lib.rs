//! faydeck fairs the underside of a board deck out of a rough phone scan, true to size, and makes a mating face that a
//! printed enclosure can sit on without a gap.
//!
//! The flow is one way, a stage per module, values in and reports out; the library touches no file, clock or terminal:
//!
//! 1. [`read_scan`]: any scan file to a [`RawCloud`] in scan units.
//!    Several scans of one board: [`join_scans`].
//! 2. [`frame_deck`]: the deck isolated, its axes, and a [`Scale`] from the [`Tape`].
//! 3. [`fit_underside`]: a fair tensor-product B-spline z(x, y), the [`Underside`].
//! 4. [`find_outline`]: the [`Outline`], from photos and the scan's rim together.
//! 5. [`make_deck`]: the trimmed [`Deck`].
//! 6. [`make_mating`]: the [`MatingFace`] at the squeezed gasket's distance.
//! 7. [`make_enclosure`]: the [`Enclosure`]'s body on that face.
//! 8. [`gap_map`]: the gap of an enclosure's rim.
//!
//! [`build`] tells that story from a checked [`Board`] to the bytes of every file.
//!
//! # Units
//! Millimetres everywhere but in a [`RawCloud`], whose unit is unknown. Deck frame: x along the board towards the nose,
//! y to its left seen from the underside, z out of the underside.
mod deck;
pub mod demo;
mod enclosure;
mod error;
pub mod export;
mod fit_check;
mod frame;
mod gap;
pub mod geom;
mod load;
mod mating;
pub mod num;
mod outline;
mod picture;
mod pipeline;
mod proof;
mod report;
mod scan;
mod settings;
mod surface;
pub mod tolerance;
pub use deck::{Bore, ColourMap, Deck, DeckDetails, DeckHole, make_deck};
pub use enclosure::{
    Along, BodySpec, Boss, BrokenEdge, CableRoom, Check, Depth, EdgeSpec, Enclosure, Fit, Groove, GrooveSpec, Hardware,
    JointKind, OpeningShape, OpeningSpec, PartSpec, PlacedPart, Position, PrintFigures, PrintPart, PrintWay,
    PrinterSpec, Screw, ScrewSize, ScrewSpec, SealSpec, SeatedScrew, Shell, ShellSpec, Side, StandsOn, ThinSupport,
    Through, TruckSpec, make_enclosure, tightening_order,
};
pub use error::{Error, Refusal, RefusedPoints, Result, Stage, Warned, Warning, printable};
pub use fit_check::{FitCheckSpec, FitFigures, FitPiece, make_fit_check};
pub use frame::{
    FrameOptions, FrameReport, Framed, JoinReport, NextReading, Scale, SortedPoints, StationWidth, Tape, TapeReading,
    TapeReport, TapeVerdict, TruckSpan, UnusedReading, frame_deck, join_scans,
};
pub use gap::{
    Alternative, Bent, ClampReport, Flange, Freedom, GapDoubt, GapMap, GapOptions, GapSample, GapSummary, Gasket,
    GasketReport, Grade, Growth, GrowthReport, OtherParts, PartTape, PoseDoubt, Registered, Registration, RideReport,
    RideStation, RimLoop, RimStation, ScannedPart, Seat, Verdict, VerdictShares, clamp, gap_map, growth, judge,
    register, register_scan, rest, ride,
};
pub use load::{
    Load, Rider, RiderSpec, Sag, SagReport, Weight, deflection, layup_ratio, opening_between, sag_of, second_moment,
    section_of,
};
pub use mating::{
    EnclosureSpec, Footprint, KeepOut, KeepOutKind, MatingFace, PlanSpec, Room, footprint, keep_outs, longest_free,
    make_mating, room_warnings, rooms,
};
pub use outline::{
    BoltHoles, KnownLength, KnownReport, Outline, OutlineReport, OutlineSource, PhotoInput, PhotoLines, PhotoPicture,
    PhotoReport, RailError, ScannedBoard, Unusable, find_outline,
};
pub use picture::PhotoLimits;
pub use pipeline::{
    Build, Housing, Observer, PhotoBytes, Photos, Reconstruction, ScanBytes, Scans, Surveyed, build, build_from,
    free_room, gaps, gaps_from, house, housing_gaps, reconstruct, reconstruct_from, rescale, survey,
};
pub use proof::{Bending, Part, Pose, Proof, ScrewPlace, prove};
pub use report::{
    Bytes, CAUTIONS, CentreBend, CurvatureSection, GAPS_SCHEMA, GapsReport, Indices, LandReport, LayerColours, Packed,
    PageBody, PageCurve, PageData, PageFile, PageLayer, PageLine, PageMark, PageMesh, PageNumber, PagePhoto, PagePlot,
    PagePoints, PageRefusal, PageStation, PageZone, PhotoLine, PhotoRole, PointRole, REPORT_SCHEMA, Report, RimReport,
    ScrewReport, ShapeMeasure, StationBend, refused_kind, refused_page,
};
pub use scan::{
    RawCloud, ReadLimits, ReadReport, Texel, Textures, panic_is_caught, read_mesh, read_mesh_within, read_scan,
    read_scan_textured, read_scan_within,
};
pub use settings::{
    Board, Form, GROUPS, Given, Group, INSET_MM, Key, LeftOut, NewBoard, PhotoFile, ScanSide, explain, parse_length,
    parse_positive_length,
};
pub use surface::{ErrorMap, StationReport, SurfaceOptions, SurfaceReport, Underside, fit_underside};
