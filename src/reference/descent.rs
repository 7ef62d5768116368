//! Least squares over a handful of parameters: Levenberg-Marquardt from zero steps, slopes by central differences.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// Where a fit came to rest.
pub struct Rest {
    pub steps: Vec<f64>,
    /// Half the sum of squares there.
    pub objective: f64,
}

struct Problem<R, J> {
    residuals: R,
    slopes: J,
    steps: DVector<f64>,
}

impl<R, J> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<R, J>
where
    R: Fn(&[f64]) -> DVector<f64>,
    J: Fn(&[f64]) -> DMatrix<f64>,
{
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;
    fn set_params(&mut self, x: &DVector<f64>) {
        self.steps.copy_from(x);
    }
    fn params(&self) -> DVector<f64> {
        self.steps.clone()
    }
    fn residuals(&self) -> Option<DVector<f64>> {
        let r = (self.residuals)(self.steps.as_slice());
        r.iter().all(|v| v.is_finite()).then_some(r)
    }
    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let j = (self.slopes)(self.steps.as_slice());
        j.iter().all(|v| v.is_finite()).then_some(j)
    }
}

/// The steps (`count` of them, from zero on) that make the sum of squared residuals least. `None` where it is not finite.
pub fn least(
    count: usize,
    residuals: impl Fn(&[f64]) -> DVector<f64>,
    slopes: impl Fn(&[f64]) -> DMatrix<f64>,
) -> Option<Rest> {
    let problem = Problem { residuals, slopes, steps: DVector::zeros(count) };
    let (done, report) = LevenbergMarquardt::new().with_patience(20).with_tol(1e-8).minimize(problem);
    report
        .objective_function
        .is_finite()
        .then(|| Rest { steps: done.steps.as_slice().to_vec(), objective: report.objective_function })
}

/// Slopes of the residuals at `at` along the first parameters, one column each, by central differences of `sizes`.
pub fn slopes(residuals: impl Fn(&[f64]) -> DVector<f64>, at: &[f64], sizes: &[f64]) -> DMatrix<f64> {
    let mut d = at.to_vec();
    let columns: Vec<DVector<f64>> = (0..sizes.len())
        .map(|k| {
            let here = d[k];
            d[k] = here + sizes[k];
            let ahead = residuals(&d);
            d[k] = here - sizes[k];
            let behind = residuals(&d);
            d[k] = here;
            (ahead - behind) / (2.0 * sizes[k])
        })
        .collect();
    DMatrix::from_columns(&columns)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's function (H. H. Rosenbrock, The Computer Journal 3 (1960) 175; from memory): least at (1, 1).
    #[test]
    fn rosenbrocks_valley_is_followed_to_its_end() {
        let r = |d: &[f64]| DVector::from_vec(vec![10.0 * (d[1] - d[0] * d[0]), 1.0 - d[0]]);
        let rest = least(2, r, |d| slopes(r, d, &[1e-5, 1e-5])).unwrap();
        assert!(rest.steps.iter().all(|v| (v - 1.0).abs() < 1e-6), "{:?}", rest.steps);
    }
    #[test]
    fn slopes_are_those_of_the_formula() {
        let j = slopes(|d| DVector::from_vec(vec![d[0] * d[1], d[1] * d[1]]), &[3.0, 2.0], &[1e-4, 1e-4]);
        let want = DMatrix::from_row_slice(2, 2, &[2.0, 3.0, 0.0, 4.0]);
        assert!((j - want).abs().max() < 1e-9);
    }
    #[test]
    fn residuals_that_are_no_numbers_settle_nowhere() {
        assert!(least(1, |_| DVector::from_vec(vec![f64::NAN]), |_| DMatrix::zeros(1, 1)).is_none());
    }
}
