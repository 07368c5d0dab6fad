//! Photos that the scan's own colours place.
use super::alone::{BANDS, Found, Scene, placed};
use super::camera::Camera;
use super::graphic::Start;
use super::photo::Picture;
use super::start::{Prior, State, starts};
use super::{region, search};

/// What a photo shows where the scan's colours place it, and tell which way round, beside where its colours part a board from the floor
/// at all: that is quick, and asks for no border.
pub(super) fn sure(photo: &Picture, scene: &Scene, prior: &Prior) -> Option<Found> {
    let graphic = scene.graphic.as_ref()?;
    let border = region::board_border(photo).ok()?;
    let starts: Vec<Camera> =
        starts(photo, &border, scene, prior).iter().map(|s| graphic.seen_from_below(&s.camera)).collect();
    let (by, decided) = graphic.best(photo, prior.lens, &starts, Start::default())?;
    if !decided {
        return None;
    }
    placed(photo, scene, prior, (by.camera, by.matches), &BANDS[1..2]).ok()
}
/// The same beside where its contour was found, or anywhere where there is none; which way round is the contour's to tell where colours
/// do not.
pub(super) fn beside(photo: &Picture, scene: &Scene, prior: &Prior, found: &Result<Found, String>) -> Option<Found> {
    let graphic = scene.graphic.as_ref()?;
    let below = |s: &State| graphic.seen_from_below(&s.camera);
    let starts: Vec<Camera> = match found {
        Ok(f) => vec![below(&f.state)],
        Err(_) => search::starts(photo, scene.rim, prior).iter().map(below).collect(),
    };
    let start = Start { all: found.is_err(), told: found.as_ref().is_ok_and(|f| !f.undecided) };
    let (by, decided) = graphic.best(photo, prior.lens, &starts, start)?;
    // which end is which would be a coin's throw, and with it every place along the board
    if found.is_err() && !decided {
        return None;
    }
    let mut own = placed(photo, scene, prior, (by.camera, by.matches), &BANDS[1..2]).ok()?;
    own.undecided = !decided && found.as_ref().is_ok_and(|f| f.undecided);
    Some(own)
}
/// Refuses what a contour shows that the scan's colours contradict.
pub(super) fn refused(photo: &Picture, scene: &Scene, prior: &Prior, found: Found) -> Result<Found, String> {
    let camera = Some(&found.state.camera).filter(|c| c.sees_underside());
    let graphic = scene.graphic.as_ref();
    match camera.and_then(|c| graphic?.contradicts(photo, prior.lens, c)) {
        Some(places) => Err(format!(
            "its colours are not the scan's in any of {places} places that both show clearly: it is of another board, or of this one \
             painted anew"
        )),
        None => Ok(found),
    }
}
