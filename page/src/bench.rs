//! The input files, what was made of them, and what it was made from.
use crate::ask::{Answer, Ask, error_told};
use crate::views;
use faydeck::export::{OutputFile, chosen, gap_csv, gap_ply, gap_png, unrolled_csv, unrolled_svg};
use faydeck::{
    Board, Build, Error, GapsReport, PageData, Part, PhotoBytes, Photos, Pose, Reconstruction, Report, Result,
    ScanBytes, Scans, Stage, Surveyed, Textures, Warned, demo, parse_positive_length,
};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Write};

/// Most bytes a packed scan may unpack to in a browser's tab: its memory ends at 4 GB, and a point takes some 60 bytes while
/// the board is looked for.
pub(crate) const MOST_UNPACKED: u64 = 1 << 30;
/// Most points of a scan in a tab, by the same count.
pub(crate) const MOST_POINTS: u64 = 30_000_000;

/// What a result was made from: the settings that reach it, and the files by how often they were put.
#[derive(Debug, Clone, PartialEq)]
struct Source {
    board: Board,
    files: Vec<(String, u64)>,
}
/// A value with what it was made from, and a number that no other value has.
#[derive(Debug)]
struct Kept<T>(Source, T, u64);

/// One board on the bench.
#[derive(Debug, Default)]
pub struct Bench {
    files: BTreeMap<String, (u64, Vec<u8>)>,
    puts: u64,
    stamps: u64,
    surveyed: Option<Kept<Warned<Surveyed>>>,
    deck: Option<Kept<Warned<Reconstruction>>>,
    /// Textures and materials that the scans asked for when they were last read, whether here or not.
    beside: BTreeSet<String>,
    made: Vec<OutputFile>,
}

fn settings(message: impl Into<String>, hint: &str) -> Error {
    Error::new(Stage::Settings, message).hint(hint)
}
/// The text of a board file from its table.
fn text_of(board: &Value) -> Result<String> {
    let table: toml::Value = toml::Value::try_from(board)
        .map_err(|e| settings(format!("the settings are no board file: {e}"), "load the page again"))?;
    let body = toml::to_string(&table)
        .map_err(|e| settings(format!("the settings cannot be written: {e}"), "load the page again"))?;
    Ok(format!(
        "# Everything measured or chosen for one board. Lengths are text with a unit: mm, cm, m or in.\n\n{body}"
    ))
}
/// The board without what only enclosure, gasket, rider and files depend on: two boards that are equal in this have one deck.
fn deck_settings(board: &Board) -> Result<Board> {
    let bare = Board::parse("[scan]\nfile = 'x'\n[tape]\nwidth = '200 mm'\n")?;
    Ok(Board {
        enclosure: None,
        footprint_file: None,
        body: None,
        name: bare.name,
        output: bare.output,
        fit_check: bare.fit_check,
        gasket: bare.gasket,
        rider: None,
        flange: bare.flange,
        growth: bare.growth,
        ..board.clone()
    })
}
/// [`deck_settings`] without what only the photos and the deck's solid depend on.
fn survey_settings(board: &Board) -> Result<Board> {
    let deck = deck_settings(board)?;
    let bare = Board::parse("[scan]\nfile = 'x'\n[tape]\nwidth = '200 mm'\n")?;
    Ok(Board {
        photos: Vec::new(),
        unusable_photo: bare.unusable_photo,
        photo_limits: bare.photo_limits,
        deck_details: bare.deck_details,
        ..deck
    })
}

impl Bench {
    /// Answers one question; `bytes` are those of a file to put.
    ///
    /// # Errors
    /// What the library refuses, and a file that is named but not here.
    pub fn answer(&mut self, ask: Ask, bytes: Vec<u8>) -> Result<Answer> {
        Ok(match ask {
            Ask::Put { name } => {
                self.put(name, bytes);
                Answer::default()
            }
            Ask::Drop { name } => {
                self.files.remove(&name);
                Answer::default()
            }
            Ask::Look { name } => {
                let asked = RefCell::default();
                let mut answer = views::look(self.file(&name)?, Textures::Beside(&self.beside(&asked)))?;
                answer.told["beside"] = json!(asked.take());
                answer
            }
            Ask::Parse { text } => {
                Board::parse(&text)?;
                let table: toml::Value = toml::from_str(text.trim_start_matches('\u{feff}')).map_err(|e| {
                    settings(format!("the board file is not TOML: {}", e.message()), "open it in an editor")
                })?;
                Answer::told(table)
            }
            Ask::Write { board } => {
                let text = text_of(&board)?;
                let fault = Board::parse(&text).err().map(|e| error_told(&e));
                Answer::told(json!({ "text": text, "fault": fault }))
            }
            Ask::Length { text } => Answer::told(parse_positive_length("the length", &text)?),
            Ask::Survey { board, have } => {
                let board = self.board(&board)?;
                self.surveyed(&board)?;
                let Some(Kept(_, made, stamp)) = &self.surveyed else { return Err(lost()) };
                stamped(*stamp, have, || views::surveyed(made))
            }
            Ask::Deck { board, have } => {
                let board = self.board(&board)?;
                self.deck(&board)?;
                let Some(Kept(_, made, stamp)) = &self.deck else { return Err(lost()) };
                stamped(*stamp, have, || views::deck(&board, made))
            }
            Ask::House { board, rim_only } => {
                let mut board = self.board(&board)?;
                if rim_only {
                    board.body = None;
                }
                views::housing(&board, &self.deck(&board)?.value)?
            }
            Ask::Files { board } => {
                let board = self.board(&board)?;
                let Build { mut files, report } = faydeck::build_from(&board, self.deck(&board)?, &mut ())?;
                files.push(OutputFile::new("report.json", report.to_json().into_bytes()));
                files.push(OutputFile::new("report.html", report.to_html().into_bytes()));
                self.made = chosen(files, &board.output.only)?;
                self.list(&report.warnings)
            }
            Ask::Gaps { board, name, found } => {
                let board = self.board(&board)?;
                self.gaps(&board, &name, found)?
            }
            Ask::Take { name } => {
                let file = self.made.iter().find(|f| f.name == name);
                let bytes = file.map(|f| f.bytes.clone());
                Answer {
                    bytes: bytes.ok_or_else(|| settings(format!("{name} is not made"), "make the files first"))?,
                    ..Answer::default()
                }
            }
            Ask::Zip { board, along } => {
                let mut files = self.made.clone();
                files.push(OutputFile::new("board.toml", text_of(&board)?.into_bytes()));
                for name in along {
                    files.push(OutputFile::new(&name, self.file(&name)?.to_vec()));
                }
                Answer { bytes: zipped(&files)?, ..Answer::default() }
            }
            Ask::Demo => {
                let mut told = Vec::new();
                let mut table = Value::Null;
                for f in demo::demo_files()? {
                    if f.name == "board.toml" {
                        let text = String::from_utf8_lossy(&f.bytes).into_owned();
                        table = self.answer(Ask::Parse { text }, Vec::new())?.told;
                    } else {
                        told.push(f.name.clone());
                        self.made.retain(|m| m.name != f.name);
                        self.made.push(f);
                    }
                }
                Answer::told(json!({ "board": table, "files": told }))
            }
        })
    }

    fn put(&mut self, name: String, bytes: Vec<u8>) {
        self.puts += 1;
        self.files.insert(name, (self.puts, bytes));
    }
    fn file(&self, name: &str) -> Result<&[u8]> {
        let found = self.files.get(name).map(|f| f.1.as_slice());
        found.ok_or_else(|| settings(format!("the file {name} is not here"), "drop it on the page too"))
    }
    fn board(&self, table: &Value) -> Result<Board> {
        let mut board = Board::parse(&text_of(table)?)?;
        if let Some(f) = board.footprint_file.clone() {
            board = board.with_footprint(self.file(&f)?)?;
        }
        board.read_limits.unpacked_bytes = board.read_limits.unpacked_bytes.min(MOST_UNPACKED);
        board.read_limits.points = board.read_limits.points.min(MOST_POINTS);
        Ok(board)
    }
    /// Gives files by their names, which are noted.
    fn beside<'a>(&'a self, asked: &'a RefCell<BTreeSet<String>>) -> impl Fn(&str) -> Option<Vec<u8>> + 'a {
        |name| {
            asked.borrow_mut().insert(name.to_owned());
            self.files.get(name).map(|f| f.1.clone())
        }
    }
    fn source<'a>(&self, board: Board, names: impl Iterator<Item = &'a String>) -> Source {
        let number = |n: &String| (n.clone(), self.files.get(n).map_or(0, |f| f.0));
        Source { board, files: names.map(number).collect() }
    }
    fn surveyed(&mut self, board: &Board) -> Result<&Warned<Surveyed>> {
        let settings = survey_settings(board)?;
        let source = self.source(settings.clone(), board.scan_files.iter().chain(&self.beside));
        if self.surveyed.as_ref().is_none_or(|k| k.0 != source) {
            // what is stale goes first: two scans at once may be more than a tab holds
            (self.surveyed, self.deck) = (None, None);
            let asked = RefCell::default();
            let beside = self.beside(&asked);
            let scan = |f: &String| Ok(ScanBytes { file: self.file(f)?, textures: Textures::Beside(&beside) });
            let scans = board.scan_files.iter().map(scan).collect::<Result<_>>()?;
            let made = faydeck::survey(board, Scans(scans), &mut ())?;
            drop(beside);
            self.beside = asked.take();
            let source = self.source(settings, board.scan_files.iter().chain(&self.beside));
            self.stamps += 1;
            self.surveyed = Some(Kept(source, made, self.stamps));
        }
        self.surveyed.as_ref().map(|k| &k.1).ok_or_else(lost)
    }
    fn deck(&mut self, board: &Board) -> Result<&Warned<Reconstruction>> {
        self.surveyed(board)?;
        let names = board.scan_files.iter().chain(&self.beside);
        let of_photos = board.photos.iter().flat_map(|p| std::iter::once(&p.file).chain(&p.mask).chain(&p.path));
        let source = self.source(deck_settings(board)?, names.chain(of_photos));
        if self.deck.as_ref().is_none_or(|k| k.0 != source) {
            self.deck = None;
            let surveyed = self.surveyed.as_ref().map(|k| &k.1).ok_or_else(lost)?;
            let optional = |f: &Option<String>| f.as_ref().map(|f| self.file(f)).transpose();
            let photo = |p: &faydeck::PhotoFile| {
                Ok(PhotoBytes { image: self.file(&p.file)?, mask: optional(&p.mask)?, path: optional(&p.path)? })
            };
            let photos = Photos(board.photos.iter().map(photo).collect::<Result<_>>()?);
            let mut made = faydeck::reconstruct_from(board, &surveyed.value, photos, &mut ())?;
            made.warnings.splice(0..0, surveyed.warnings.iter().cloned());
            self.stamps += 1;
            self.deck = Some(Kept(source, made, self.stamps));
        }
        self.deck.as_ref().map(|k| &k.1).ok_or_else(lost)
    }
    fn gaps(&mut self, board: &Board, name: &str, found: bool) -> Result<Answer> {
        let read = faydeck::read_mesh(self.file(name)?)?;
        let pose = if found { Pose::Found } else { Pose::Given };
        let part = Part { mesh: read.value, pose, within_footprint: false };
        let deck = self.deck(board)?;
        let proved = faydeck::gaps_from(board, &deck.value, &part, &mut ())?;
        let warnings = [deck.warnings.clone(), proved.warnings].concat();
        let (proof, rec) = (proved.value, &deck.value);
        let report = GapsReport::new(board, &proof, warnings);
        let mut page = Report::new(board, rec, None, report.warnings.clone());
        page.page.add_gap(&proof.map);
        page.page.add_rim(&report, "gaps.json");
        let mut files = vec![
            OutputFile::new(
                "gap-map.png",
                gap_png(&proof.map, &rec.deck.outline_polygon(), &board.name, &board.gasket)?,
            ),
            OutputFile::new("gap-map.csv", gap_csv(&proof.map)),
            OutputFile::new("gap-map.ply", gap_ply(&proof.map)),
            OutputFile::new("gap-unrolled.csv", unrolled_csv(&report)),
            OutputFile::new("gap-unrolled.svg", unrolled_svg(&report)),
            OutputFile::new("gaps.json", report.to_json().into_bytes()),
        ];
        page.page.name_files(files.iter().map(|f| f.name.as_str()));
        files.push(OutputFile::new("gap-report.html", page.to_html().into_bytes()));
        self.made.retain(|m| files.iter().all(|f| f.name != m.name));
        let listed = list(&files);
        self.made.extend(files);
        Ok(Answer::told(json!({ "page": page.page, "warnings": report.warnings, "files": listed })))
    }
    fn list(&self, warnings: &[faydeck::Warning]) -> Answer {
        Answer::told(json!({ "files": list(&self.made), "warnings": warnings }))
    }
}
/// `{ "stamp", "same": true }` where the page has it, else the stamp and all of it.
fn stamped(stamp: u64, have: u64, view: impl FnOnce() -> Answer) -> Answer {
    if stamp == have {
        return Answer::told(json!({ "stamp": stamp, "same": true }));
    }
    let mut answer = view();
    answer.told["stamp"] = json!(stamp);
    answer
}
fn lost() -> Error {
    settings("a result was lost", "load the page again")
}
fn list(files: &[OutputFile]) -> Vec<Value> {
    let mut page = PageData::default();
    page.name_files(files.iter().map(|f| f.name.as_str()));
    let one =
        |(f, p): (&OutputFile, &faydeck::PageFile)| json!({ "name": f.name, "bytes": f.bytes.len(), "what": p.what });
    files.iter().zip(&page.files).map(one).collect()
}
/// All files in one zip, the date left out: the same files give the same bytes.
fn zipped(files: &[OutputFile]) -> Result<Vec<u8>> {
    let fail = |e: &dyn std::fmt::Display| Error::new(Stage::Export, format!("the zip cannot be made: {e}"));
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default());
    for f in files {
        zip.start_file(&*f.name, options).map_err(|e| fail(&e))?;
        zip.write_all(&f.bytes).map_err(|e| fail(&e))?;
    }
    Ok(zip.finish().map_err(|e| fail(&e))?.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(bench: &mut Bench, ask: Value, bytes: Vec<u8>) -> Result<Answer> {
        bench.answer(serde_json::from_value(ask).unwrap(), bytes)
    }
    #[test]
    fn a_board_file_goes_through_the_page_and_back() {
        let text = demo::demo_files().unwrap().into_iter().find(|f| f.name == "board.toml").unwrap();
        let text = String::from_utf8(text.bytes).unwrap();
        let mut bench = Bench::default();
        let table = asked(&mut bench, json!({ "ask": "parse", "text": text }), vec![]).unwrap().told;
        let back = asked(&mut bench, json!({ "ask": "write", "board": table }), vec![]).unwrap().told;
        assert_eq!(back["fault"], Value::Null);
        assert_eq!(Board::parse(back["text"].as_str().unwrap()).unwrap(), Board::parse(&text).unwrap());
    }
    #[test]
    fn only_what_reaches_the_deck_makes_it_anew() {
        let parse = |more: &str| Board::parse(&format!("[scan]\nfile='s'\n[tape]\nwidth='21 cm'\n{more}")).unwrap();
        let same = |a: &Board, b: &Board| deck_settings(a).unwrap() == deck_settings(b).unwrap();
        let board = parse("");
        assert!(same(&board, &parse("[enclosure]\nlength='30 cm'\ndepth='3 cm'\n[rider]\nsag='5 mm'\n")));
        assert!(!same(&board, &parse("[deck]\nthickness='9 mm'\n")));
        assert!(!same(&board, &parse("[photo]\nfile='p.jpg'\n")));
    }
    #[test]
    fn a_file_that_is_not_here_is_named() {
        let mut bench = Bench::default();
        let board = json!({ "scan": { "file": "my scan.ply" }, "tape": { "width": "21 cm" } });
        let e = asked(&mut bench, json!({ "ask": "survey", "board": board }), vec![]).unwrap_err();
        assert!(e.message().contains("my scan.ply is not here"), "{e}");
    }
    /// An OBJ, its materials and its picture, dropped one after the other: each look says what is still asked for.
    #[test]
    fn a_scans_textures_are_asked_for_by_their_names() {
        let mut bench = Bench::default();
        let put = |bench: &mut Bench, name: &str, bytes: &[u8]| {
            asked(bench, json!({ "ask": "put", "name": name }), bytes.to_vec()).unwrap();
        };
        let look = |bench: &mut Bench| asked(bench, json!({ "ask": "look", "name": "a.obj" }), vec![]).unwrap().told;
        let obj = b"mtllib a.mtl\nusemtl m\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nf 1/1 2/1 3/1\n";
        put(&mut bench, "a.obj", obj);
        let told = look(&mut bench);
        assert_eq!((&told["beside"], &told["coloured"]), (&json!(["a.mtl"]), &json!(false)));
        put(&mut bench, "a.mtl", b"newmtl m\nmap_Kd a.png\n");
        assert_eq!(look(&mut bench)["beside"], json!(["a.mtl", "a.png"]));
        let files = demo::demo_files().unwrap();
        let photo = files.iter().find(|f| f.name.ends_with(".jpg")).unwrap();
        put(&mut bench, "a.png", &photo.bytes);
        assert_eq!(look(&mut bench)["coloured"], json!(true));
    }
    #[test]
    fn a_question_that_is_cut_short_is_refused() {
        for question in [vec![], vec![9, 0, 0, 0, b'{'], vec![255; 4], vec![2, 0, 0, 0, b'{', b'}']] {
            let out = crate::answered(&mut Bench::default(), question);
            assert!(String::from_utf8_lossy(&out).contains("error"));
        }
    }
}
