//! Takes STEP files with a second, independent geometry kernel and fails where one is not taken whole: every face, edge and
//! vertex of the file is there, the shell closes, and its own triangles enclose the volume they should.
//! usage: second-kernel FILE.step [VOLUME_MM3] ...
use truck_meshalgo::prelude::*;
use truck_stepio::r#in::Table;

/// Chord height of the kernel's triangles, mm. With 0.5 mm they bridge small features of an enclosure's part, whose volume then
/// comes out 1.7 % too large; at 0.2, 0.1, 0.05 and 0.02 mm it converges on the file's (0.08, 0.07, 0.04, 0.03 % off).
const CHORD_MM: f64 = 0.1;
/// Share of the volume that chords of 0.1 mm may cost: twice the most measured on the demo's files (0.09 %, an enclosure's part).
const VOLUME_SHARE: f64 = 2e-3;

fn check(path: &str, volume: Option<f64>) -> Result<String, String> {
    let text = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
    let table = Table::from_step(&text).ok_or_else(|| format!("{path}: not read"))?;
    let count = |what: &str| text.matches(&format!("={what}(")).count();
    let shells: Vec<_> = table.shell.values().collect();
    let [shell] = shells.as_slice() else { return Err(format!("{path}: {} shells", shells.len())) };
    let shell = table.to_compressed_shell(shell).map_err(|e| format!("{path}: {e:?}"))?;
    let found = [shell.faces.len(), shell.edges.len(), shell.vertices.len()];
    let written = ["ADVANCED_FACE", "EDGE_CURVE", "VERTEX_POINT"].map(count);
    if found != written {
        return Err(format!("{path}: {found:?} faces, edges, vertices read, {written:?} written"));
    }
    let mesh = shell.robust_triangulation(CHORD_MM).to_polygon();
    let got = mesh.volume();
    if let Some(want) = volume
        && !((got / want - 1.0).abs() < VOLUME_SHARE)
    {
        return Err(format!("{path}: volume {got:.0} mm3, expected {want:.0} mm3"));
    }
    Ok(format!("{path}: {found:?} faces, edges, vertices, {} triangles, volume {got:.0} mm3", mesh.tri_faces().len()))
}

fn main() {
    let mut args = std::env::args().skip(1).peekable();
    let mut bad = false;
    while let Some(path) = args.next() {
        let volume = args.next_if(|a| a.parse::<f64>().is_ok()).and_then(|a| a.parse().ok());
        match check(&path, volume) {
            Ok(words) => println!("{words}"),
            Err(fault) => {
                bad = true;
                eprintln!("{fault}");
            }
        }
    }
    std::process::exit(i32::from(bad));
}
