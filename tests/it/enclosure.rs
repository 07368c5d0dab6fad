//! The loop closed on planted boards: scan, deck, enclosure, and the enclosure's own mesh against the deck.
use crate::boards::{Case, Given, cases, find};
use faydeck::{
    Along, Board, BodySpec, Depth, EdgeSpec, EnclosureSpec, Fit, GapOptions, GrooveSpec, PlanSpec, ScrewSize,
    ScrewSpec, ShellSpec, gap_map, make_enclosure, make_mating, reconstruct,
};

const GASKET_MM: f64 = 4.0;
const SQUEEZE: f64 = 0.3;
/// The rim may be this far off the squeezed gasket, mm.
const WITHIN_MM: f64 = 0.05;
const FLANGE_MM: f64 = 5.0;

fn body(groove: bool) -> BodySpec {
    BodySpec {
        depth: Depth::Clear(30.0),
        shell: ShellSpec {
            wall_mm: 3.5,
            draft: 3.0_f64.to_radians(),
            floor_mm: 4.0,
            follow: groove,
            flange_mm: FLANGE_MM,
            groove: groove.then_some(GrooveSpec { strip_mm: 6.0, land_mm: 0.5 }),
            floor_edge: Some(EdgeSpec { size_mm: 2.0, round: groove }),
            flange_chamfer_mm: if groove { 0.0 } else { 3.0 },
        },
        screws: ScrewSpec {
            size: ScrewSize::M4,
            fit: Fit::Coarse,
            pitch_mm: 110.0,
            edge_mm: Some(7.0),
            slip_mm: 1.0,
            insert_mm: None,
            along: if groove { Along::Deck } else { Along::Bench },
            boss: false,
        },
        strip_mm: 6.0,
        parts: Vec::new(),
        openings: Vec::new(),
        trucks: None,
        sag_mm: 0.0,
        printer: None,
    }
}

/// The board of the default run.
const ONE: &str = "plain";
#[test]
fn the_rim_of_a_planted_board_meets_its_deck() {
    meet(&[find(ONE).unwrap()]);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn rims_of_planted_boards_meet_their_decks() {
    // the photographed boards come later in the list and are one of these
    let others: Vec<Case> = cases().into_iter().filter(|c| c.name != ONE && !c.name.contains('-')).collect();
    assert!(others.len() >= 11, "{}", others.len());
    meet(&others);
}
/// Every planted board's rim lies at the squeezed gasket's thickness from its deck, plain or in a groove.
fn meet(cases: &[Case]) {
    let standoff = GASKET_MM * (1.0 - SQUEEZE);
    for case in cases {
        let planted = case.make();
        let board = Board::parse(&case.board_toml(&planted, Given::BOTH)).unwrap();
        let deck = reconstruct(&board, &planted.scan, None, &mut ()).unwrap().value.deck;
        let rim = EnclosureSpec {
            // between the trucks
            length_mm: 0.6 * case.shape.wheelbase_mm,
            offset_mm: 0.0,
            inset_mm: 20.0,
            flange_mm: 18.0,
            corner_radius_mm: None,
            gasket_mm: GASKET_MM,
            squeeze_ratio: SQUEEZE,
            plan: PlanSpec::Rail,
        };
        let mating = make_mating(&deck, &rim).unwrap_or_else(|e| panic!("{}: {e}", case.name)).value;
        for groove in [false, true] {
            let e = make_enclosure(&deck, &mating, &rim, &body(groove));
            let e = e.unwrap_or_else(|e| panic!("{}: {e}", case.name)).value;
            assert_eq!(e.solid().faults(), Vec::<String>::new(), "{}", case.name);
            assert!(e.mesh().open_edges().is_empty(), "{}", case.name);
            let options = GapOptions { gasket_mm: GASKET_MM, ..GapOptions::for_spec(None) };
            let strip = e.strip_mesh().unwrap();
            let map = gap_map(&strip, &deck.underside, &deck.outline_polygon(), &options).unwrap().value;
            let off: Vec<f64> =
                map.samples.iter().map(|s| s.gap_mm).filter(|g| (g - standoff).abs() > WITHIN_MM).collect();
            // a cell cut by a border may hold no sample of the rim but one of the flange's back
            let back = off.iter().filter(|g| (*g - standoff - FLANGE_MM).abs() < 0.1).count();
            assert_eq!(off.len(), back, "{} groove {groove}: {off:?}", case.name);
            assert!(back <= map.samples.len() / 500, "{} {back} of {}", case.name, map.samples.len());
            assert!(map.samples.len() > 3000, "{}", case.name);
        }
    }
}
