//! The jobs.
use super::files::{read, write_all, write_one};
use super::progress::Progress;
use super::{GapArguments, Job, Talk, completions, manual};
use faydeck::export::{OutputFile, chosen, gap_csv, gap_ply, gap_png, unrolled_csv, unrolled_svg, write_coloured_ply};
use faydeck::geom::TriMesh;
use faydeck::{
    Board, CAUTIONS, Error, GapMap, GapsReport, Part, PartTape, Pose, Report, Result, Stage, Tape, Warning, demo,
    parse_positive_length,
};
use std::io::Write;
use std::path::{Path, PathBuf};

/// A line on stdout. A reader that has gone away (`faydeck ... | head`) is no fault.
macro_rules! say {
    ($($t:tt)*) => {
        if writeln!(std::io::stdout(), $($t)*).is_err() {
            return Ok(());
        }
    };
}

pub(super) fn run(job: Job, talk: Talk) -> Result<()> {
    match job {
        Job::Demo { out } => demo_board(&out, talk),
        Job::Build { board, out, only } => build(&board, &out, &only, talk),
        Job::Rescale { scan, width, length, out, keep_frame } => {
            rescale(&scan, &tape(&width, length.as_deref())?, &out, keep_frame, talk)
        }
        Job::Gaps { board, enclosure, how, out } => gaps(&board, &enclosure, &how, &out, talk),
        Job::New { scan, width, length, photo, out } => new(&scan, &width, length.as_deref(), photo.as_deref(), out),
        #[cfg(feature = "page")]
        Job::Page { out } => page(&out),
        Job::Completions { shell } => print(&completions(shell)),
        Job::Man => print(&manual().map_err(|e| Error::new(Stage::Export, format!("the manual cannot be made: {e}")))?),
    }
}

/// The page that `page/build.sh` made before this program was built.
#[cfg(feature = "page")]
fn page(out: &Path) -> Result<()> {
    const PAGE: &[u8] =
        include_bytes!(env!("FAYDECK_PAGE", "set FAYDECK_PAGE to the full path of what page/build.sh wrote"));
    write_one(out, PAGE.to_vec())?;
    say!("{}", out.display());
    Ok(())
}
fn print(bytes: &[u8]) -> Result<()> {
    // as in `say`: a reader that has gone away is no fault
    let _ = std::io::stdout().write_all(bytes);
    Ok(())
}

fn tape(width: &str, length: Option<&str>) -> Result<Tape> {
    let length = length.map(|l| parse_positive_length("the length", l)).transpose()?;
    Tape::new(parse_positive_length("the width", width)?, length, None)
}

fn warn(warnings: &[Warning], talk: Talk) {
    if !talk.quiet {
        for w in warnings {
            eprintln!("warning: {}\n  next: {}", w.message, w.hint);
        }
    }
}

/// A board file with the bytes it names.
struct Loaded {
    board: Board,
    scans: Vec<Vec<u8>>,
    photos: Vec<[Option<Vec<u8>>; 3]>,
}
impl Loaded {
    fn scans(&self) -> faydeck::Scans<'_> {
        faydeck::Scans(self.scans.iter().map(Vec::as_slice).collect())
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
        .map(|f| read(&folder.join(f), Stage::Scan, "the scan"))
        .collect::<Result<Vec<_>>>()?;
    let one = |p: Option<&String>, what: &str| p.map(|p| read(&folder.join(p), Stage::Scan, what)).transpose();
    let photos = (board.photos.iter())
        .map(|p| {
            Ok([one(Some(&p.file), "the photo")?, one(p.mask.as_ref(), "the mask")?, one(p.path.as_ref(), "the path")?])
        })
        .collect::<Result<Vec<_>>>()?;
    if talk.verbose {
        eprintln!("board  {}", path.display());
        for (file, bytes) in board.scan_files.iter().zip(&scans) {
            eprintln!("scan   {file}, {} bytes", bytes.len());
        }
        for (p, bytes) in board.photos.iter().zip(&photos) {
            eprintln!("photo  {}, {} bytes", p.file, bytes[0].as_ref().map_or(0, Vec::len));
        }
    }
    Ok(Loaded { board, scans, photos })
}

fn build(path: &Path, out: &Path, only: &[String], talk: Talk) -> Result<()> {
    let l = load(path, talk)?;
    let mut progress = Progress::new(talk);
    let mut made = faydeck::build(&l.board, l.scans(), l.photos(), &mut progress)?;
    made.report.seconds = progress.finish();
    let mut files = made.files;
    files.push(OutputFile::new("report.json", made.report.to_json().into_bytes()));
    files.push(OutputFile::new("report.html", made.report.to_html().into_bytes()));
    // told first: why a file that was asked for is missing may be among them
    warn(&made.report.warnings, talk);
    let files = chosen(files, if only.is_empty() { &l.board.output.only } else { only })?;
    write_all(out, &files)?;
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
    Ok(())
}

fn rescale(scan: &Path, tape: &Tape, out: &Path, keep_frame: bool, talk: Talk) -> Result<()> {
    let bytes = read(scan, Stage::Scan, "the scan")?;
    let made = faydeck::rescale(&bytes, tape, keep_frame)?;
    let (cloud, scale) = made.value;
    let (normals, colours) = (cloud.normals.as_deref(), cloud.colors.as_deref());
    write_one(out, write_coloured_ply(&cloud.points, normals, colours, &cloud.triangles))?;
    warn(&made.warnings, talk);
    say!(
        "{:.6} mm per scan unit, standard uncertainty {:.2} %; {} points in {}",
        scale.mm_per_unit,
        100.0 * scale.standard_uncertainty / scale.mm_per_unit,
        cloud.points.len(),
        out.display()
    );
    Ok(())
}

/// The enclosure's file as the arguments say it is to be taken.
fn part(enclosure: &Path, how: &GapArguments, board: &Board, talk: Talk) -> Result<Part> {
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
        let read = faydeck::read_scan(&bytes)?;
        warn(&read.warnings, talk);
        (TriMesh { points: read.value.points, triangles: read.value.triangles }, Pose::Scanned(tape))
    } else {
        let read = faydeck::read_mesh(&bytes)?;
        warn(&read.warnings, talk);
        (read.value, if how.register { Pose::Found } else { Pose::Given })
    };
    Ok(Part { mesh, pose, within_footprint: how.within_footprint })
}

fn gaps(path: &Path, enclosure: &Path, how: &GapArguments, out: &Path, talk: Talk) -> Result<()> {
    let l = load(path, talk)?;
    let part = part(enclosure, how, &l.board, talk)?;
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
        OutputFile::new("gap-map.png", gap_png(map, &rec.deck.outline_polygon())?),
        OutputFile::new("gap-map.csv", gap_csv(map)),
        OutputFile::new("gap-map.ply", gap_ply(map)),
        OutputFile::new("gap-unrolled.csv", unrolled_csv(&report)),
        OutputFile::new("gap-unrolled.svg", unrolled_svg(&report)),
        OutputFile::new("gaps.json", report.to_json().into_bytes()),
    ];
    page.page.name_files(files.iter().map(|f| f.name.as_str()));
    files.push(OutputFile::new("gap-report.html", page.to_html().into_bytes()));
    write_all(out, &files)?;
    warn(&report.warnings, talk);
    say!("{}", gap_words(map).trim_end());
    say!("{}", report.to_text().trim_end());
    for f in &files {
        say!("{:>9} bytes  {}", f.bytes.len(), out.join(&f.name).display());
    }
    Ok(())
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

fn new(scan: &Path, width: &str, length: Option<&str>, photo: Option<&Path>, out: Option<PathBuf>) -> Result<()> {
    let tape = tape(width, length)?;
    read(scan, Stage::Scan, "the scan")?;
    let folder = scan.parent().unwrap_or(Path::new(""));
    let out = out.unwrap_or_else(|| folder.join("board.toml"));
    if out.exists() {
        return Err(Error::new(Stage::Export, format!("{} exists already", out.display()))
            .hint("move it away, or name another file with --out"));
    }
    let relative = |p: &Path| {
        let base = out.parent().unwrap_or(Path::new(""));
        p.strip_prefix(base).map_or_else(
            |_| std::path::absolute(p).unwrap_or_else(|_| p.to_owned()).to_string_lossy().into_owned(),
            |p| p.to_string_lossy().into_owned(),
        )
    };
    let text = Board::template(&relative(scan), photo.map(relative).as_deref(), tape.width_mm, tape.length_mm);
    write_one(&out, text.into_bytes())?;
    say!("{}", out.display());
    Ok(())
}

fn demo_board(out: &Path, talk: Talk) -> Result<()> {
    let files: Vec<OutputFile> = demo::demo_files()?;
    write_all(out, &files)?;
    build(&out.join("board.toml"), &out.join("out"), &[], talk)?;
    say!("a flat-rimmed first draft of an enclosure on this deck:");
    let as_it_lies =
        GapArguments { register: false, part_length: None, part_width: None, rim_down: false, within_footprint: false };
    gaps(&out.join("board.toml"), &out.join("draft-enclosure.stl"), &as_it_lies, &out.join("out"), talk)
}
