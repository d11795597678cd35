package finding

import (
	"math"
	"strconv"
	"strings"
)

// Round9 rounds to nine significant digits, the grain at which figures leave
// the engine. NaN and infinities are the caller's error and come back as they
// are; Number refuses them.
func Round9(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 8, 64), 64)
	if r == 0 {
		return 0 // no negative zero
	}
	return r
}

// Number makes a figure shown with at most the given decimals, trailing zeros
// dropped. A value that is not finite becomes the text "unknown" without a
// number.
func Number(name string, x float64, decimals int, unit string) Figure {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return Figure{Name: name, Text: "unknown", Unit: unit}
	}
	v := Round9(x)
	return Figure{Name: name, Number: &v, Text: Decimal(v, decimals), Unit: unit}
}

// CountOf makes a figure of a whole number; a plural unit loses its s where the
// number is 1.
func CountOf(name string, n int, unit string) Figure {
	if n == 1 && len(unit) > 1 {
		unit = strings.TrimSuffix(unit, "s")
	}
	v := float64(n)
	return Figure{Name: name, Number: &v, Text: strconv.Itoa(n), Unit: unit}
}

// Word makes a figure that is a word, a date or a fraction.
func Word(name, text string) Figure { return Figure{Name: name, Text: text} }

// Decimal prints x rounded half away from zero to at most the given decimals,
// with trailing zeros dropped and never "-0".
func Decimal(x float64, decimals int) string {
	p := math.Pow10(decimals)
	r := math.Round(Round9(x*p)) / p
	s := strconv.FormatFloat(r, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// String prints the figure with its unit.
func (f Figure) String() string {
	if f.Unit == "" {
		return f.Text
	}
	return f.Text + " " + f.Unit
}
