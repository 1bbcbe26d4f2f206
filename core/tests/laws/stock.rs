//! Laws of the stock room: more service never means less stock, baskets are never dearer than any other,
//! forecasts of what never changes never change, and nothing panics.

mod basket;
mod forecasts;
mod market;
mod orders;
mod solver;
