//! stub until the flatness branch lands
pub struct MinimumZone;
pub struct Scratch;
pub struct LeastSquaresPlane;
pub struct Zone {
    pub flatness: f64,
    pub plane: [f64; 3],
}
impl Clone for MinimumZone {
    fn clone(&self) -> Self {
        Self
    }
}
impl std::fmt::Debug for MinimumZone {
    fn fmt(&self, _: &mut std::fmt::Formatter) -> std::fmt::Result {
        Ok(())
    }
}
impl Clone for LeastSquaresPlane {
    fn clone(&self) -> Self {
        Self
    }
}
impl std::fmt::Debug for LeastSquaresPlane {
    fn fmt(&self, _: &mut std::fmt::Formatter) -> std::fmt::Result {
        Ok(())
    }
}
impl MinimumZone {
    pub fn new(_: &[[f64; 2]]) -> Result<Self, ()> {
        Ok(Self)
    }
    pub fn scratch(&self) -> Scratch {
        Scratch
    }
    pub fn solve(&self, z: &[f64], _: &mut Scratch) -> Zone {
        Zone { flatness: crate::quantity::sample::range(z), plane: [0.0; 3] }
    }
}
impl LeastSquaresPlane {
    pub fn new(_: &[[f64; 2]]) -> Result<Self, ()> {
        Ok(Self)
    }
    pub fn residual_limits(&self, z: &[f64]) -> [f64; 2] {
        [z.iter().cloned().fold(f64::INFINITY, f64::min), z.iter().cloned().fold(f64::NEG_INFINITY, f64::max)]
    }
}
