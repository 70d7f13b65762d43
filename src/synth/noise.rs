//! Chance that is the same every time: seeded generators, and noise hashed from places.

/// A small seeded generator (SplitMix64, Steele, Lea, Flood, "Fast Splittable Pseudorandom Number
/// Generators", OOPSLA 2014; constants from memory).
#[derive(Debug, Clone)]
pub struct Rng(u64);

impl Rng {
    /// The generator that starts at `seed`.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        mix(self.0)
    }

    /// Even in 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even in `low` to `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// The finishing step of SplitMix64: every input bit reaches every output bit.
pub(super) fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Nearly normal noise with standard deviation 1 from a key: the sum of four even numbers.
pub(super) fn hashed_normal(key: u64) -> f32 {
    let bits = mix(key);
    let sum = (0..4)
        .map(|i| (bits >> (16 * i) & 0xffff) as f32)
        .sum::<f32>();
    // Four even numbers in 0 to 65535: mean 131070, variance 4 * 65536² / 12.
    (sum - 131_070.0) / 37_837.2
}

fn lattice(seed: u32, x: i32, y: i32) -> f32 {
    let mut h = (x as u32)
        .wrapping_mul(0x85eb_ca6b)
        .wrapping_add((y as u32).wrapping_mul(0xc2b2_ae35))
        .wrapping_add(seed.wrapping_mul(0x27d4_eb2f));
    h ^= h >> 15;
    h = h.wrapping_mul(0x2c1b_3c6d);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297a_2d39);
    h ^= h >> 15;
    h as f32 * (2.0 / 4_294_967_296.0) - 1.0
}

/// Smooth noise in -1 to 1 with features of size 1.
pub(super) fn smooth(seed: u32, x: f64, y: f64) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let ease = |t: f32| t * t * (3.0 - 2.0 * t);
    let (tx, ty) = (ease((x - fx) as f32), ease((y - fy) as f32));
    let (i, j) = (fx as i32, fy as i32);
    let (i1, j1) = (i.wrapping_add(1), j.wrapping_add(1));
    let low = lattice(seed, i, j) * (1.0 - tx) + lattice(seed, i1, j) * tx;
    let high = lattice(seed, i, j1) * (1.0 - tx) + lattice(seed, i1, j1) * tx;
    low * (1.0 - ty) + high * ty
}

/// Three octaves of [`smooth`].
pub(super) fn cloudy(seed: u32, x: f64, y: f64) -> f32 {
    smooth(seed, x, y) * 0.57
        + smooth(seed.wrapping_add(1), x * 2.03, y * 2.03) * 0.29
        + smooth(seed.wrapping_add(2), x * 4.11, y * 4.11) * 0.14
}
