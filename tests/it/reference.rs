//! Outside values for the numerics: NIST Statistical Reference Datasets (certified values; data in `fixtures/nist`) and
//! Umeyama's worked example.
use faydeck::geom::umeyama;
use faydeck::num::{LmOptions, LmStop, minimize};
use nalgebra::{DMatrix, DVector, Point3};

/// Fits a linear model given by its design matrix.
fn linear(a: &DMatrix<f64>, y: &DVector<f64>) -> (DVector<f64>, f64, DMatrix<f64>) {
    let mut b = DVector::from_element(a.ncols(), 0.0);
    let report = minimize(&mut b, &LmOptions::default(), |b| a * b - y, |_| a.clone());
    assert_eq!(report.stop, LmStop::Converged);
    (b, report.rss, report.inverse_normal.unwrap())
}

/// NIST StRD NoInt1: b = 2.07438016528926, standard deviation 0.0165289256198347, s = 3.56753034006338.
#[test]
fn nist_noint1() {
    let a = DMatrix::from_fn(11, 1, |i, _| 60.0 + i as f64);
    let y = DVector::from_fn(11, |i, _| 130.0 + i as f64);
    let (b, rss, inverse) = linear(&a, &y);
    let s = (rss / 10.0).sqrt();
    // the solver stops where the residual sum of squares no longer falls (1e-14), which leaves half the digits in b
    assert!((b[0] / 2.074_380_165_289_26 - 1.0).abs() < 1e-7);
    assert!((s / 3.567_530_340_063_38 - 1.0).abs() < 1e-11);
    assert!((s * inverse[(0, 0)].sqrt() / 0.016_528_925_619_834_7 - 1.0).abs() < 1e-11);
}

/// NIST StRD Filip, degree 10, in Chebyshev polynomials on the data's range (condition 3.7 instead of 1.8e15): the residual
/// sum of squares is certified as 7.95851382172941e-4, and so is the constant term, -1467.48961422980.
#[test]
fn nist_filip() {
    let text = include_str!("../../fixtures/nist/Filip.dat");
    let rows: Vec<(f64, f64)> = text
        .lines()
        .filter_map(|l| {
            let mut w = l.split_whitespace().map(str::parse::<f64>);
            Some((w.next()?.ok()?, w.next()?.ok()?))
        })
        .collect();
    assert_eq!(rows.len(), 82);
    let (lo, hi) = rows.iter().fold((f64::MAX, f64::MIN), |(l, h), r| (l.min(r.1), h.max(r.1)));
    let t = |x: f64| (2.0 * x - lo - hi) / (hi - lo);
    let chebyshev = |t: f64, k: usize| {
        let (mut a, mut b) = (1.0, t);
        for _ in 0..k {
            (a, b) = (b, 2.0 * t * b - a);
        }
        a
    };
    let a = DMatrix::from_fn(82, 11, |i, k| chebyshev(t(rows[i].1), k));
    let y = DVector::from_iterator(82, rows.iter().map(|r| r.0));
    let (b, rss, _) = linear(&a, &y);
    assert!((rss / 7.958_513_821_729_41e-4 - 1.0).abs() < 1e-9, "{rss}");
    let at_zero: f64 = (0..11).map(|k| b[k] * chebyshev(t(0.0), k)).sum();
    assert!((at_zero / -1_467.489_614_229_8 - 1.0).abs() < 1e-7, "{at_zero}");
}

/// Umeyama 1991 (doi 10.1109/34.88573): X = (0,0)(1,0)(0,2), Y = (0,0)(-1,0)(0,2). In the plane the best rotation is
/// [[3,2],[-2,3]] / sqrt 13 with scale sqrt(13) / 5; in space the half turn about y fits exactly, so its error is zero.
#[test]
fn umeyama_in_space_turns_instead_of_mirroring() {
    let x = [[0., 0., 0.], [1., 0., 0.], [0., 2., 0.]].map(Point3::from);
    let y = [[0., 0., 0.], [-1., 0., 0.], [0., 2., 0.]].map(Point3::from);
    let s = umeyama(&x, &y).unwrap();
    assert!((s.rotation.determinant() - 1.0).abs() < 1e-12);
    for (a, b) in x.iter().zip(&y) {
        assert!((s.apply(a) - b).norm() < 1e-12);
    }
}
