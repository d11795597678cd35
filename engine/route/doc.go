// Package route judges one team dive on the line network of a cave: where the
// team is at every moment, what the cheapest known way out costs, and whether
// the gas suffices for it, for one diver and for two on one supply. It follows
// the project's route method; D1 to D39 in comments name its decisions.
//
// Evaluate is the one entry. It is a pure function of its Input: no clock, no
// input or output, no randomness, nothing kept between calls. Units: metres,
// minutes, metres per minute, bar absolute for water and gauge bar for
// cylinders, litres at 1 bar and 20 °C.
//
// Everything along a straight piece of passage is a quadratic in metres,
// because pressure is linear there: gas used, the cost of the way out, every
// margin. So every search (the dearest place, the turn at the latest, the place
// where going back costs as much as going on) is solved in closed form; nothing
// is stepped.
package route
