//! The jobs.
use super::files::{Left, Owner, beside, read, write_all, write_beside, write_one};
use super::progress::Progress;
use super::{Done, GapArguments, Job, Talk, completions, manual, new};
use faydeck::export::{
    OutputFile, chosen, gap_csv, gap_ply, gap_png, unrolled_csv, unrolled_svg, write_coloured_ply, write_stl,
};
use faydeck::geom::TriMesh;
use faydeck::{
    Board, CAUTIONS, Error, GapMap, GapsReport, Part, PartTape, Pose, Report, Result, Stage, Tape, Textures, Warning,
    demo, parse_positive_length,
};
use std::io::Write;
use std::path::Path;

/// A line on stdout. A reader that has gone away (`faydeck ... | head`) is no fault.
macro_rules! say {
    ($($t:tt)*) => {{
        let _ = writeln!(std::io::stdout(), "{}", faydeck::printable(&format!($($t)*)));
    }};
}
pub(super) use say;

pub(super) fn run(job: Job, talk: Talk) -> Result<Done> {
    match job {
        Job::Demo { out } => demo_board(&out, talk),
        Job::Build { board, out, only } => build(&board, &out, &only, talk),
        Job::Rescale { scan, width, length, out, keep_frame } => {
            rescale(&scan, &tape(&width, length.as_deref())?, &out, keep_frame, talk)
        }
        Job::Gaps { board, enclosure, how, out } => gaps(&board, &enclosure, &how, &out, talk),
        Job::New { scan, given } => new::write(&scan, &given, talk),
        Job::Explain { key } => {
            say!("{}", faydeck::explain(key.as_deref().unwrap_or_default())?.trim_end());
            Ok(Done::Well)
        }
        #[cfg(feature = "page")]
        Job::Page { out } => page(&out),
        Job::Completions { shell } => print(&completions(shell)),
        Job::Man => print(&manual().map_err(|e| Error::new(Stage::Export, format!("the manual cannot be made: {e}")))?),
    }
}

/// The page that `page/build.sh` made before this program was built.
#[cfg(feature = "page")]
fn page(out: &Path) -> Result<Done> {
    const PAGE: &[u8] =
        include_bytes!(env!("FAYDECK_PAGE", "set FAYDECK_PAGE to the full path of what page/build.sh wrote"));
    write_one(out, PAGE)?;
    say!("{}", out.display());
    Ok(Done::Well)
}
fn print(bytes: &[u8]) -> Result<Done> {
    // as in `say`: a reader that has gone away is no fault
    let _ = std::io::stdout().write_all(bytes);
    Ok(Done::Well)
}

fn tape(width: &str, length: Option<&str>) -> Result<Tape> {
    let length = length.map(|l| parse_positive_length("the length", l)).transpose()?;
    Tape::new(parse_positive_length("the width", width)?, length, None)
}

/// Tells the warnings; what the job has come to with them.
pub(super) fn warn(warnings: &[Warning], talk: Talk) -> Done {
    if !talk.quiet {
        for w in warnings {
            eprintln!("warning: {}\n  next: {}", w.message, w.hint);
        }
    }
    Done::with(warnings)
}
/// Tells what became of the files of the run before.
fn tell_left(left: &Left, out: &Path, talk: Talk) {
    if talk.quiet {
        return;
    }
    if !left.removed.is_empty() {
        eprintln!("removed from {}, as this run does not make them: {}", out.display(), left.removed.join(", "));
    }
    if !left.changed.is_empty() {
        eprintln!(
            "kept in {}, as they have been changed since an earlier run wrote them, but they do not belong to this one: {}",
            out.display(),
            left.changed.join(", ")
        );
    }
}

/// A board file with the bytes it names.
struct Loaded {
    board: Board,
    scans: Vec<(Vec<u8>, Beside)>,
    photos: Vec<[Option<Vec<u8>>; 3]>,
}
/// The files beside a scan, by their names.
type Beside = Box<dyn Fn(&str) -> Option<Vec<u8>>>;
impl Loaded {
    fn scans(&self) -> faydeck::Scans<'_> {
        let all = self.scans.iter();
        faydeck::Scans(
            all.map(|(file, beside)| faydeck::ScanBytes { file, textures: Textures::Beside(beside) }).collect(),
        )
    }
    fn photos(&self) -> faydeck::Photos<'_> {
        let all = self.photos.iter().map(|[image, mask, path]| faydeck::PhotoBytes {
            image: image.as_deref().unwrap_or_default(),
            mask: mask.as_deref(),
            path: path.as_deref(),
        });
        faydeck::Photos(all.collect())
    }
}
fn load(path: &Path, talk: Talk) -> Result<Loaded> {
    let bytes = read(path, Stage::Settings, "the board file")?;
    let text = String::from_utf8(bytes).map_err(|e| {
        Error::new(Stage::Settings, format!("the board file {} is not UTF-8 text: {e}", path.display()))
            .hint("save it as UTF-8")
    })?;
    let mut board = Board::parse(&text)?;
    let folder = path.parent().unwrap_or(Path::new("."));
    if let Some(f) = board.footprint_file.clone() {
        board = board.with_footprint(&read(&folder.join(f), Stage::Settings, "the footprint")?)?;
    }
    let scans = (board.scan_files.iter())
        .map(|f| folder.join(f))
        .map(|f| Ok((read(&f, Stage::Scan, "the scan")?, Box::new(beside(&f)) as Beside)))
        .collect::<Result<Vec<_>>>()?;
    let one = |p: Option<&String>, what: &str| p.map(|p| read(&folder.join(p), Stage::Scan, what)).transpose();
    let photos = (board.photos.iter())
        .map(|p| {
            Ok([one(Some(&p.file), "the photo")?, one(p.mask.as_ref(), "the mask")?, one(p.path.as_ref(), "the path")?])
        })
        .collect::<Result<Vec<_>>>()?;
    if talk.verbose {
        eprintln!("board  {}", path.display());
        for (file, (bytes, _)) in board.scan_files.iter().zip(&scans) {
            eprintln!("scan   {}, {} bytes", faydeck::printable(file), bytes.len());
        }
        for (p, bytes) in board.photos.iter().zip(&photos) {
            eprintln!("photo  {}, {} bytes", faydeck::printable(&p.file), bytes[0].as_ref().map_or(0, Vec::len));
        }
    }
    Ok(Loaded { board, scans, photos })
}

/// The seconds are another run's in each report; all else is the same where the input is.
fn same_but_for_seconds(a: &[u8], b: &[u8]) -> bool {
    let read = |bytes: &[u8]| -> Option<serde_json::Value> {
        let mut v: serde_json::Value = serde_json::from_slice(bytes).ok()?;
        v.as_object_mut()?.remove("seconds");
        Some(v)
    };
    a == b || read(a).is_some_and(|a| read(b) == Some(a))
}

/// The page that shows what a refused scan was taken for.
const REFUSED: &str = "refused.html";
/// The error, once the page of a refused scan is written that its hint then names. The files of the build before stay as they are.
fn with_page(e: Error, board: &Board, out: &Path, talk: Talk) -> Error {
    let Some(page) = faydeck::refused_page(&board.name, &e) else { return e };
    match write_beside(out, Owner::Build, OutputFile::new(REFUSED, page.into_bytes())) {
        Ok(()) => {
            let page = format!("{} shows what each point was taken for", out.join(REFUSED).display());
            let hint = e.hint_text().map_or_else(|| page.clone(), |h| format!("{h}; {page}"));
            e.hint(hint)
        }
        Err(unwritten) => {
            if !talk.quiet {
                eprintln!("warning: no page shows what the scan was taken for: {}", unwritten.message());
            }
            e
        }
    }
}

fn build(path: &Path, out: &Path, only: &[String], talk: Talk) -> Result<Done> {
    let l = load(path, talk)?;
    let mut progress = Progress::new(talk);
    let mut made = faydeck::build(&l.board, l.scans(), l.photos(), &mut progress)
        .map_err(|e| with_page(e, &l.board, out, talk))?;
    made.report.seconds = progress.finish();
    let mut files = made.files;
    files.push(OutputFile::new("report.json", made.report.to_json().into_bytes()));
    files.push(OutputFile::new("report.html", made.report.to_html().into_bytes()));
    // told first: why a file that was asked for is missing may be among them
    let done = warn(&made.report.warnings, talk);
    let all = files.clone();
    let files = chosen(files, if only.is_empty() { &l.board.output.only } else { only })?;
    // of files that are not asked for this time those may stay that would come out the same
    let stays = |name: &str, now: &[u8]| all.iter().any(|f| f.name == name && same_but_for_seconds(&f.bytes, now));
    let left = write_all(out, Owner::Build, &files, stays)?;
    tell_left(&left, out, talk);
    if talk.verbose {
        let r = &made.report.scan;
        eprintln!(
            "read   {}: {} points, {} triangles, {} not finite",
            r.format, r.points, r.triangles, r.dropped_non_finite
        );
    }
    say!("{}", made.report.to_text().trim_end());
    for f in &files {
        say!("{:>9} bytes  {}", f.bytes.len(), out.join(&f.name).display());
    }
    if !talk.quiet {
        eprintln!("caution: {}; {}; {}", CAUTIONS[0], CAUTIONS[1], CAUTIONS[2]);
    }
    Ok(done)
}

/// What `rescale` writes, by the ending of the file's name.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Ply,
    Stl,
}
impl Form {
    fn of(out: &Path) -> Result<Self> {
        let ending = out.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
        match ending.as_deref() {
            Some("ply") => Ok(Self::Ply),
            Some("stl") => Ok(Self::Stl),
            _ => Err(Error::new(
                Stage::Settings,
                format!("rescale writes PLY or STL, but the file's name, {}, ends with neither", out.display()),
            )
            .hint("let the name end with .ply, or for a scan with faces with .stl")),
        }
    }
}

fn rescale(scan: &Path, tape: &Tape, out: &Path, keep_frame: bool, talk: Talk) -> Result<Done> {
    let form = Form::of(out)?;
    let bytes = read(scan, Stage::Scan, "the scan")?;
    let textures = beside(scan);
    let scan = faydeck::ScanBytes { file: &bytes, textures: Textures::Beside(&textures) };
    let made = faydeck::rescale(scan, tape, keep_frame)?;
    let (cloud, scale) = made.value;
    let (normals, colours) = (cloud.normals.as_deref(), cloud.colors.as_deref());
    let written = match form {
        Form::Ply => write_coloured_ply(&cloud.points, normals, colours, &cloud.triangles),
        Form::Stl if cloud.triangles.is_empty() => {
            return Err(Error::new(
                Stage::Export,
                format!("the scan has {} points but no faces, and an STL file holds only faces", cloud.points.len()),
            )
            .hint("let the name of the output end with .ply"));
        }
        Form::Stl => write_stl(&TriMesh { points: cloud.points.clone(), triangles: cloud.triangles.clone() }),
    };
    write_one(out, &written)?;
    let done = warn(&made.warnings, talk);
    say!(
        "{:.6} mm per scan unit, standard uncertainty {:.2} %; {} points in {}",
        scale.mm_per_unit,
        100.0 * scale.standard_uncertainty / scale.mm_per_unit,
        cloud.points.len(),
        out.display()
    );
    Ok(done)
}

/// The enclosure's file as the arguments say it is to be taken.
fn part(enclosure: &Path, how: &GapArguments, board: &Board, warnings: &mut Vec<Warning>) -> Result<Part> {
    let bytes = read(enclosure, Stage::Scan, "the enclosure")?;
    let reading = |what: &str, v: &Option<String>| v.as_deref().map(|l| parse_positive_length(what, l)).transpose();
    let length_mm = reading("the part's length", &how.part_length)?;
    let width_mm = reading("the part's width", &how.part_width)?;
    let (mesh, pose) = if length_mm.or(width_mm).is_some() {
        let tape = PartTape {
            length_mm,
            width_mm,
            tolerance_mm: board.tape.tolerance_mm,
            flange_mm: board.flange.thickness_mm,
            rim_down: how.rim_down.then_some(true),
        };
        let cloud = faydeck::read_scan_textured(&bytes, &board.read_limits, Textures::Unread)?.drain_into(warnings);
        (TriMesh { points: cloud.points, triangles: cloud.triangles }, Pose::Scanned(tape))
    } else {
        let mesh = faydeck::read_mesh_within(&bytes, &board.read_limits)?.drain_into(warnings);
        (mesh, if how.register { Pose::Found } else { Pose::Given })
    };
    Ok(Part { mesh, pose, within_footprint: how.within_footprint })
}

fn gaps(path: &Path, enclosure: &Path, how: &GapArguments, out: &Path, talk: Talk) -> Result<Done> {
    let l = load(path, talk)?;
    let mut of_part = Vec::new();
    let part = part(enclosure, how, &l.board, &mut of_part)?;
    warn(&of_part, talk);
    let mut progress = Progress::new(talk);
    let made = faydeck::gaps(&l.board, l.scans(), l.photos(), &part, &mut progress)?;
    progress.finish();
    let (proof, rec) = made.value;
    let map = &proof.map;
    let report = GapsReport::new(&l.board, &proof, made.warnings);
    let mut page = Report::new(&l.board, &rec, None, report.warnings.clone());
    page.page.add_gap(map);
    page.page.add_rim(&report, "gaps.json");
    let mut files = vec![
        OutputFile::new("gap-map.png", gap_png(map, &rec.deck.outline_polygon(), &l.board.name, &l.board.gasket)?),
        OutputFile::new("gap-map.csv", gap_csv(map)),
        OutputFile::new("gap-map.ply", gap_ply(map)),
        OutputFile::new("gap-unrolled.csv", unrolled_csv(&report)),
        OutputFile::new("gap-unrolled.svg", unrolled_svg(&report)),
        OutputFile::new("gaps.json", report.to_json().into_bytes()),
    ];
    page.page.name_files(files.iter().map(|f| f.name.as_str()));
    files.push(OutputFile::new("gap-report.html", page.to_html().into_bytes()));
    let left = write_all(out, Owner::Gaps, &files, |_, _| false)?;
    tell_left(&left, out, talk);
    let done = warn(&report.warnings, talk).and(Done::with(&of_part));
    say!("{}", gap_words(map).trim_end());
    say!("{}", report.to_text().trim_end());
    for f in &files {
        say!("{:>9} bytes  {}", f.bytes.len(), out.join(&f.name).display());
    }
    Ok(done)
}
fn gap_words(map: &GapMap) -> String {
    let s = &map.summary;
    format!(
        "gap        least {:.2} mm, 5 % below {:.2} mm, mean {:.2} mm, 95 % below {:.2} mm, greatest {:.2} mm\nrim face   {:.0} % of its area farther off than the free gasket is thick, {:.0} % cutting into the deck ({} samples)\n",
        s.least_mm,
        s.p5_mm,
        s.mean_mm,
        s.p95_mm,
        s.greatest_mm,
        100.0 * s.open_ratio,
        100.0 * s.clash_ratio,
        s.samples
    )
}

fn demo_board(out: &Path, talk: Talk) -> Result<Done> {
    let files: Vec<OutputFile> = demo::demo_files()?;
    write_all(out, Owner::Demo, &files, |_, _| false)?;
    let built = build(&out.join("board.toml"), &out.join("out"), &[], talk)?;
    say!("a flat-rimmed first draft of an enclosure on this deck:");
    let as_it_lies =
        GapArguments { register: false, part_length: None, part_width: None, rim_down: false, within_footprint: false };
    let mapped = gaps(&out.join("board.toml"), &out.join("draft-enclosure.stl"), &as_it_lies, &out.join("out"), talk)?;
    Ok(built.and(mapped))
}
