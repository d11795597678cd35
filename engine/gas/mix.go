// Package gas knows breathing gases: mixes, what a cylinder really holds, the
// depths a mix may be breathed at, its density, and how to blend it.
// Fractions are of 1, pressures bar absolute unless named gauge, temperatures
// kelvin, volumes litres. "Litres" of gas are litres at 1 bar and 20 °C.
package gas

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// Mix is a breathing gas: the fractions of oxygen and helium; the rest is nitrogen.
type Mix struct {
	O2 float64
	He float64
}

// Air as table arithmetic takes it (0.21/0.79).
var Air = Mix{O2: 0.21}

// Oxygen is pure oxygen.
var Oxygen = Mix{O2: 1}

// N2 is the nitrogen fraction, never below 0.
func (m Mix) N2() float64 {
	if n := 1 - m.O2 - m.He; n > 0 {
		return n
	}
	return 0
}

// Check tells everything wrong with the mix: each fraction must be 0 to 1 and
// their sum at most 1 (1e-9 is let pass, for sums of decimal fractions).
func (m Mix) Check() error {
	var errs []error
	if !(m.O2 >= 0 && m.O2 <= 1) {
		errs = append(errs, fmt.Errorf("oxygen fraction %v, must be 0 to 1", m.O2))
	}
	if !(m.He >= 0 && m.He <= 1) {
		errs = append(errs, fmt.Errorf("helium fraction %v, must be 0 to 1", m.He))
	}
	if len(errs) == 0 && m.O2+m.He > 1+1e-9 {
		errs = append(errs, fmt.Errorf("oxygen %v and helium %v add up to more than 1", m.O2, m.He))
	}
	return errors.Join(errs...)
}

// String names the mix as the trade writes it: air, oxygen, EAN32, 18/45.
func (m Mix) String() string {
	percent := func(f float64) string {
		return strconv.FormatFloat(math.Round(f*1000)/10, 'f', -1, 64)
	}
	switch {
	case m == Air:
		return "air"
	case m.O2 >= 0.9995:
		return "oxygen"
	case m.He == 0:
		return "EAN" + percent(m.O2)
	}
	return percent(m.O2) + "/" + percent(m.He)
}
