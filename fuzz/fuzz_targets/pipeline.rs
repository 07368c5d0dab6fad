//! The whole of `build`: a small board in a scene, and settings, each chosen by a byte. Files come out, or a sentence; how long it
//! may take and how much memory is the run's: `-timeout=20 -rss_limit_mb=1000`.
#![no_main]
use faydeck::Board;
use faydeck::demo::{DEMO, PlantedBoard, ScanScene, planted_scan};
use faydeck::export::write_ply;
use libfuzzer_sys::fuzz_target;

/// A key and the values it may have; "" leaves it out.
const KEYS: [(&str, &[&str]); 18] = [
    ("[tape]\nwidth", &["'226 mm'", "'22.6 cm'", "'215 mm'", "'240 mm'", "'100 mm'", "'500 mm'"]),
    ("length", &["", "'884 mm'", "'870 mm'", "'2 m'", "'600 mm'"]),
    ("[deck]\nthickness", &["'12 mm'", "'1 mm'", "'50 mm'", "'113 mm'"]),
    ("rail_radius", &["", "'0 mm'", "'3 mm'", "'6 mm'"]),
    ("[enclosure]\nlength", &["'340 mm'", "'20 mm'", "'700 mm'", "'1500 mm'", "'100 mm'"]),
    ("inset", &["", "'16 mm'", "'0 mm'", "'60 mm'", "'100 mm'"]),
    ("flange", &["", "'18 mm'", "'1 mm'", "'50 mm'"]),
    ("offset", &["", "'40 mm'", "'-200 mm'", "'2 m'"]),
    ("gasket", &["", "'0 mm'", "'3 mm'", "'15 mm'"]),
    ("squeeze", &["", "'0 %'", "'30 %'", "'99 %'"]),
    ("depth", &["", "'34 mm'", "'1 mm'", "'300 mm'", "'parts'"]),
    ("draft", &["", "'3 deg'", "'45 deg'"]),
    ("wall", &["", "'0.4 mm'", "'30 mm'"]),
    ("seat", &["", "'groove'", "'plain'"]),
    ("[screws]\npitch", &["", "'110 mm'", "'10 mm'", "'1 m'"]),
    ("size", &["", "'M3'", "'M6'"]),
    ("[rider]\nsag", &["'9 mm'", "'0 mm'", "'200 mm'"]),
    ("[output]\nchord", &["'0.5 mm'", "'0.2 mm'", "'1 mm'"]),
];

fuzz_target!(|input: ([u8; 6], [u8; 18], Vec<[u8; 8]>)| {
    let (scene, choices, parts) = input;
    let mut text = String::from("[scan]\nfile='s'\n");
    for ((key, values), choice) in KEYS.iter().zip(choices) {
        let value = values[usize::from(choice) % values.len()];
        match (value, key.rsplit_once('\n')) {
            ("", None) => {}
            ("", Some((table, _))) => text += &format!("{table}\n"),
            _ => text += &format!("{key}={value}\n"),
        }
    }
    let mm = |b: u8| 2 * i32::from(b) - 255;
    for (i, p) in parts.iter().take(20).enumerate() {
        let [x, y, l, w, h, kind, ..] = *p;
        let at = format!("at=['{} mm','{} mm']", mm(x), mm(y));
        let (l, w, h) = (u32::from(l) + 1, u32::from(w) + 1, u32::from(h) + 1);
        text += &match kind % 4 {
            0 => format!("[[part]]\nname='p{i}'\nlength='{l} mm'\nwidth='{w} mm'\nheight='{h} mm'\n"),
            1 => format!("[[part]]\nname='p{i}'\nlength='{l} mm'\nwidth='{w} mm'\nheight='{h} mm'\n{at}\n"),
            2 => format!("[[opening]]\nname='o{i}'\n{at}\ndiameter='{w} mm'\n"),
            _ => format!("[[opening]]\nname='o{i}'\n{at}\nthrough='wall'\nabove_floor='{h} mm'\nlength='{l} mm'\nwidth='{w} mm'\n"),
        };
    }
    let [seed, noise, floor, floaters, inset, bend] = scene;
    let scene = ScanScene {
        seed: u64::from(seed),
        points: 6000,
        noise_mm: f64::from(noise) / 100.0,
        floor_mm: (floor > 20).then_some(f64::from(floor)),
        floaters: 4 * usize::from(floaters),
        trucks: inset % 2 == 1,
        rim_inset_mm: f64::from(inset) / 50.0,
        ..ScanScene::default()
    };
    let planted = PlantedBoard { concave_mm: f64::from(bend) / 10.0, ..DEMO };
    let board = match Board::parse(&text) {
        Ok(board) => board,
        Err(e) => return assert!(e.hint_text().is_some()),
    };
    let scan = write_ply(&planted_scan(&planted, &scene).0, None, &[]);
    match faydeck::build(&board, &scan, None, &mut ()) {
        Ok(made) => assert!(made.files.iter().all(|f| !f.bytes.is_empty()) && !made.report.to_json().contains("NaN")),
        Err(e) => assert!(e.hint_text().is_some(), "{e}"),
    }
});
