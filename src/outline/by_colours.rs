//! Photos that the scan's own colours place.
use super::alone::{BANDS, Found, Scene, placed};
use super::camera::Camera;
use super::graphic::{Placed, Ways};
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
    let Ways { first, other: None } = graphic.best(photo, prior.lens, &starts, false)? else { return None };
    shown(photo, scene, prior, first)
}
/// The border of a photo so placed.
fn shown(photo: &Picture, scene: &Scene, prior: &Prior, by: Placed) -> Option<Found> {
    placed(photo, scene, prior, (by.camera, by.matches), &BANDS[1..2]).ok()
}
/// The same beside where its contour was found, or anywhere where there is none. Which way round is, where colours do not tell, the
/// contour's to tell, or where that is about as good turned, the border's that is seen from either.
pub(super) fn beside(photo: &Picture, scene: &Scene, prior: &Prior, found: &Result<Found, String>) -> Option<Found> {
    let graphic = scene.graphic.as_ref()?;
    let below = |s: &State| graphic.seen_from_below(&s.camera);
    let starts: Vec<Camera> = match found {
        Ok(f) => vec![below(&f.state)],
        Err(_) => search::starts(photo, scene.rim, prior).iter().map(below).collect(),
    };
    let Ways { first, other } = graphic.best(photo, prior.lens, &starts, found.is_err())?;
    let other = match (other, found) {
        (None, _) | (_, Ok(Found { undecided: false, .. })) => return shown(photo, scene, prior, first),
        // which end is which would be a coin's throw, and with it every place along the board
        (_, Err(_)) => return None,
        (Some(other), Ok(_)) => other,
    };
    let likelier = other.likelier(&first);
    let [first, other] = [first, other].map(|way| shown(photo, scene, prior, way));
    let (first, other) = match (first, other) {
        (Some(first), Some(other)) => (first, other),
        (first, other) => return first.or(other),
    };
    let undecided = first.close(&other);
    let other_way = if undecided { likelier } else { other.better(&first) };
    let mut own = if other_way { other } else { first };
    own.undecided = undecided;
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
