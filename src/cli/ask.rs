//! The questions of `new`: what is not known yet is asked, one question at a time, from a reader to a writer.
use faydeck::{Error, Given, NewBoard, Result};
use std::io::{self, BufRead, Read, Write};

/// Longest answer taken, bytes: a path is the longest thing asked for.
const LONGEST: u64 = 4096;

/// Where answers come from and questions go to.
pub(super) struct Talker<R, W> {
    pub from: R,
    pub to: W,
}
/// What was typed.
enum Line {
    Text(String),
    TooLong,
    /// There are no more answers.
    End,
}
/// What an answer came to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Answer {
    Taken,
    LeftOut,
}
/// A question and what Enter means; `None` where an answer is needed.
struct Question<'a> {
    words: &'a str,
    on_enter: Option<&'a str>,
}

impl<R: BufRead, W: Write> Talker<R, W> {
    fn line(&mut self) -> io::Result<Line> {
        let mut bytes = Vec::new();
        (&mut self.from).take(LONGEST).read_until(b'\n', &mut bytes)?;
        if bytes.is_empty() {
            return Ok(Line::End);
        }
        let whole = |bytes: &[u8]| (bytes.len() as u64) < LONGEST || bytes.ends_with(b"\n");
        if whole(&bytes) {
            return Ok(Line::Text(String::from_utf8_lossy(&bytes).trim().to_owned()));
        }
        // the rest of it is no answer to the next question
        while !whole(&bytes) {
            bytes.clear();
            (&mut self.from).take(LONGEST).read_until(b'\n', &mut bytes)?;
        }
        Ok(Line::TooLong)
    }
    /// Asks until `take` takes the answer, or Enter leaves it out.
    fn ask(&mut self, q: &Question, mut take: impl FnMut(&str) -> Result<()>) -> io::Result<Answer> {
        loop {
            let brackets = q.on_enter.map(|e| format!(" [{e}]")).unwrap_or_default();
            write!(self.to, "{}{brackets}: ", q.words)?;
            self.to.flush()?;
            let line = match self.line()? {
                Line::Text(text) => text,
                Line::TooLong => {
                    writeln!(self.to, "  the answer is longer than the {LONGEST} characters that are read")?;
                    continue;
                }
                Line::End => {
                    writeln!(self.to)?;
                    return Ok(Answer::LeftOut);
                }
            };
            if line.is_empty() {
                if q.on_enter.is_some() {
                    return Ok(Answer::LeftOut);
                }
                writeln!(self.to, "  this one is needed")?;
                continue;
            }
            match take(&line) {
                Ok(()) => return Ok(Answer::Taken),
                Err(e) => self.refuse(&e)?,
            }
        }
    }
    fn refuse(&mut self, e: &Error) -> io::Result<()> {
        writeln!(self.to, "  {}", e.message())?;
        e.hint_text().map_or(Ok(()), |hint| writeln!(self.to, "  {hint}"))
    }
    /// Asks for `what` where it is not given yet.
    fn unless_given(
        &mut self,
        board: &mut NewBoard,
        what: Given,
        words: &str,
        on_enter: Option<&str>,
    ) -> io::Result<()> {
        if board.get(what).is_none() {
            self.ask(&Question { words, on_enter }, |text| board.set(what, text))?;
        }
        Ok(())
    }

    /// The readings that the size comes from, and the photo; `photo` looks at a file and gives its path for the board file.
    ///
    /// # Errors
    /// A terminal that cannot be read or written.
    pub(super) fn readings(
        &mut self,
        board: &mut NewBoard,
        mut photo: impl FnMut(&str) -> Result<String>,
    ) -> io::Result<()> {
        writeln!(self.to, "Enter takes what stands in brackets. A length needs a unit: mm, cm, m or in.")?;
        self.unless_given(
            board,
            Given::Width,
            "Width of the board, rail to rail at the widest place (209.5 mm)",
            None,
        )?;
        self.unless_given(
            board,
            Given::Length,
            "Length of the board, nose to tail, straight: the size is surer with it",
            Some("not measured"),
        )?;
        if board.photo_file.is_none() {
            let words = "File of a photo of the underside, from above, the whole board in it (JPEG or PNG)";
            let question = Question { words, on_enter: Some("no photo") };
            self.ask(&question, |text| {
                board.photo_file = Some(photo(text)?);
                Ok(())
            })?;
        }
        self.unless_given(
            board,
            Given::Thickness,
            "Thickness of the deck, at a truck hole or the rail",
            Some("not measured: 11 mm"),
        )?;
        self.unless_given(
            board,
            Given::Wheelbase,
            "Wheelbase, from the middle of one truck's four holes to the other's",
            Some("not measured"),
        )
    }

    /// What is wanted of the enclosure, once the room for it is known.
    ///
    /// # Errors
    /// As for [`Talker::readings`].
    pub(super) fn enclosure(&mut self, board: &mut NewBoard) -> io::Result<()> {
        self.unless_given(board, Given::Rider, "Weight of the rider (80 kg)", Some("leave out"))?;
        if !board.has_parts() {
            writeln!(
                self.to,
                "What goes into the box? A name, length x width x height with a unit, and the word battery if it is one,\n\
                 for example: pack 180x84x28 mm battery"
            )?;
            let mut question = Question { words: "A part", on_enter: Some("no parts") };
            while self.ask(&question, |text| board.add_part(text))? == Answer::Taken {
                question = Question { words: "One more part", on_enter: Some("no more") };
            }
        }
        let on_enter =
            if board.has_parts() { "as deep as the tallest part asks" } else { "no box, only its mating face" };
        self.unless_given(board, Given::Depth, "Clear depth inside the box (45 mm)", Some(on_enter))?;
        if !board.has_body() {
            return Ok(());
        }
        let room = board.usual_length().map(|(length, known)| {
            let by = if known { "fits into the free room" } else { "a guess: the scan shows no room" };
            format!("{length:.0} mm, {by}")
        });
        if let Some(on_enter) = room {
            self.unless_given(board, Given::EnclosureLength, "Length of the box along the board", Some(&on_enter))?;
        }
        self.unless_given(board, Given::Gasket, "Thickness of the foam strip, before it is pressed", Some("3 mm"))?;
        self.unless_given(board, Given::Screw, "Screws: M3, M4, M5 or M6", Some("M4"))?;
        self.unless_given(
            board,
            Given::Bed,
            "Bed of your printer: width x depth x height (220 x 220 x 250 mm)",
            Some("print it in one piece"),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use faydeck::{Board, Depth, Stage};

    /// What is asked and what the board file says after these answers.
    fn told(mut board: NewBoard, answers: &str) -> (String, Result<String>) {
        let mut talker = Talker { from: answers.as_bytes(), to: Vec::new() };
        let photo = |name: &str| {
            let fine = name.ends_with(".jpg");
            if fine { Ok(name.to_owned()) } else { Err(Error::new(Stage::Scan, format!("{name} is no photo"))) }
        };
        talker.readings(&mut board, photo).unwrap();
        board.free_mm = Some([-120.0, 130.0]);
        talker.enclosure(&mut board).unwrap();
        (String::from_utf8(talker.to).unwrap(), board.text())
    }
    #[test]
    fn answers_make_a_whole_board_file() {
        let (asked, text) = told(
            NewBoard::new("s.ply"),
            "209.5 mm\n812 mm\np.jpg\n12 mm\n444 mm\n80 kg\npack 180x84x28 mm battery\ncontrol 64x44x20 mm\n\n45 mm\n24 cm\n6 mm\nM5\n\
             220 x 220 x 250 mm\n",
        );
        let b = Board::parse(&text.unwrap()).unwrap();
        assert_eq!((b.tape.width_mm, b.tape.length_mm, b.tape.wheelbase_mm), (209.5, Some(812.0), Some(444.0)));
        assert_eq!((b.photos[0].file.as_str(), b.thickness_mm), ("p.jpg", 12.0));
        let body = b.body.unwrap();
        assert_eq!(
            (body.depth, body.parts.len(), b.enclosure.as_ref().unwrap().length_mm),
            (Depth::Clear(45.0), 2, 240.0)
        );
        assert_eq!(b.enclosure.unwrap().gasket_mm, 6.0);
        assert!(b.rider.is_some() && body.printer.is_some());
        let questions = [
            "Width",
            "Length of the board",
            "photo",
            "Thickness",
            "Wheelbase",
            "rider",
            "A part",
            "more part",
            "depth",
            "box along",
        ];
        assert!(questions.iter().chain(&["Screws", "Bed"]).all(|q| asked.contains(q)), "{asked}");
    }
    #[test]
    fn enter_takes_what_stands_in_brackets() {
        let (asked, text) = told(NewBoard::new("s.ply"), "\n21 cm\n\n\n\n\n\n\n\n");
        assert!(asked.contains("this one is needed") && asked.contains("[no box, only its mating face]"), "{asked}");
        assert!(!asked.contains("Screws"), "without a box its screws are not asked for");
        let b = Board::parse(&text.unwrap()).unwrap();
        assert!(b.body.is_none() && b.photos.is_empty() && b.thickness_assumed && b.rider.is_none());
        let (asked, text) = told(NewBoard::new("s.ply"), "21 cm\n\n\n\n\n\npack 180x84x28 mm\n\n\n\n\n\n");
        assert!(asked.contains("245 mm, fits into the free room") && asked.contains("[M4]"), "{asked}");
        let b = Board::parse(&text.unwrap()).unwrap();
        assert_eq!((b.body.unwrap().depth, b.enclosure.unwrap().length_mm), (Depth::Parts, 245.0));
    }
    #[test]
    fn a_wrong_answer_is_asked_again_with_the_reason() {
        let (asked, text) = told(
            NewBoard::new("s.ply"),
            "2145 mm\n214.5 mm\n20 cm\n\np.tiff\n\n12\n12 mm\n\n80\n\npack 180x84 mm\n\nparts\n45 mm\n\n\nM7\n\n\n",
        );
        for reason in [
            "did you mean \"214.5 mm\"?",
            "more than tape.width",
            "p.tiff is no photo",
            "the length \"12\" has no unit",
            "rider.mass = \"80\" has no unit",
            "has no three sizes",
            "no part is given",
            "none of M3",
        ] {
            assert!(asked.contains(reason), "{reason}: {asked}");
        }
        let b = Board::parse(&text.unwrap()).unwrap();
        assert_eq!((b.tape.width_mm, b.tape.length_mm, b.thickness_mm), (214.5, None, 12.0));
        assert_eq!(b.body.unwrap().depth, Depth::Clear(45.0));
    }
    #[test]
    fn what_is_given_is_not_asked() {
        let mut board = NewBoard::new("s.ply");
        board.photo_file = Some("p.jpg".into());
        board.add_part("pack 180x84x28 mm battery").unwrap();
        for (what, text) in [
            (Given::Width, "21 cm"),
            (Given::Length, "80 cm"),
            (Given::Thickness, "12 mm"),
            (Given::Wheelbase, "44 cm"),
            (Given::Rider, "80 kg"),
            (Given::Depth, "45 mm"),
            (Given::EnclosureLength, "24 cm"),
            (Given::Gasket, "6 mm"),
            (Given::Screw, "M4"),
        ] {
            board.set(what, text).unwrap();
        }
        let (asked, text) = told(board, "\n");
        assert_eq!(asked.matches('[').count(), 1, "{asked}");
        assert!(asked.contains("Bed of your printer") && text.is_ok());
    }
    /// Ctrl-D, a line without an end, bytes that are no text.
    #[test]
    fn answers_that_end_or_never_do_are_no_fault() {
        let (_, text) = told(NewBoard::new("s.ply"), "");
        assert!(text.unwrap_err().message().contains("width"));
        let (_, text) = told(NewBoard::new("s.ply"), "21 cm");
        assert!(text.is_ok());
        let (asked, text) = told(NewBoard::new("s.ply"), &format!("{}\n21 cm\n", "9".repeat(100_000)));
        assert!(asked.contains("longer than the 4096 characters") && asked.len() < 10_000 && text.is_ok(), "{asked}");
        let mut talker = Talker { from: &b"\xff\xfe mm\n21 cm\n"[..], to: Vec::new() };
        let mut board = NewBoard::new("s.ply");
        talker.readings(&mut board, |p| Ok(p.to_owned())).unwrap();
        assert_eq!(board.get(Given::Width), Some("21 cm"));
    }
}
