//! A list that is short as a rule: the first few elements need no memory of their own, so that a
//! state is copied without asking for any.

use std::fmt;
use std::ops::{Deref, DerefMut};

/// A list whose first `N` elements lie in place.
#[derive(Clone)]
pub struct ShortList<T, const N: usize> {
    len: usize,
    place: [T; N],
    /// All elements, once there were more than `N`; empty else.
    long: Vec<T>,
}

impl<T: Copy + Default, const N: usize> ShortList<T, N> {
    /// An empty list.
    #[must_use]
    pub fn new() -> Self {
        Self { len: 0, place: [T::default(); N], long: Vec::new() }
    }

    /// Appends an element.
    pub fn push(&mut self, element: T) {
        if self.long.is_empty() {
            if self.len < N {
                self.place[self.len] = element;
                self.len += 1;
                return;
            }
            self.long.extend_from_slice(&self.place);
        }
        self.long.push(element);
    }

    /// Takes out the element at `index`; the later ones close up.
    ///
    /// # Panics
    /// When there is no such element.
    pub fn remove(&mut self, index: usize) -> T {
        if !self.long.is_empty() {
            let element = self.long.remove(index);
            if self.long.is_empty() {
                self.len = 0;
            }
            return element;
        }
        let element = self[index];
        self.place.copy_within(index + 1..self.len, index);
        self.len -= 1;
        element
    }

    /// Keeps the elements that fit.
    pub fn retain(&mut self, fits: impl Fn(&T) -> bool) {
        let mut index = 0;
        while index < self.len() {
            if fits(&self[index]) {
                index += 1;
            } else {
                self.remove(index);
            }
        }
    }

    /// Takes out all elements.
    pub fn clear(&mut self) {
        self.len = 0;
        self.long.clear();
    }
}

impl<T: Copy + Default, const N: usize> Default for ShortList<T, N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<T, const N: usize> Deref for ShortList<T, N> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        if self.long.is_empty() { &self.place[..self.len] } else { &self.long }
    }
}

impl<T, const N: usize> DerefMut for ShortList<T, N> {
    fn deref_mut(&mut self) -> &mut [T] {
        if self.long.is_empty() { &mut self.place[..self.len] } else { &mut self.long }
    }
}

impl<T: fmt::Debug, const N: usize> fmt::Debug for ShortList<T, N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::ShortList;

    #[test]
    fn a_short_list_does_what_a_vector_does() {
        let mut x = 1_u32;
        let (mut short, mut plain) = (ShortList::<u32, 3>::new(), Vec::new());
        for step in 0..10_000 {
            x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let choice = x >> 24;
            match choice % 8 {
                0..=3 if plain.len() < 7 => {
                    short.push(step);
                    plain.push(step);
                }
                4..=6 if !plain.is_empty() => {
                    let index = choice as usize % plain.len();
                    assert_eq!(short.remove(index), plain.remove(index));
                }
                7 if choice > 240 => {
                    short.clear();
                    plain.clear();
                }
                7 => {
                    short.retain(|element| element % 5 != 0);
                    plain.retain(|element| element % 5 != 0);
                }
                _ => {}
            }
            assert_eq!(*short, *plain);
            assert_eq!(*short, *short.clone());
        }
    }
}
