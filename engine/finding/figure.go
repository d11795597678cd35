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
	if r, ok := round9(math.Abs(x)); ok {
		return math.Copysign(r, x)
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 8, 64), 64)
	if r == 0 {
		return 0 // no negative zero
	}
	return r
}

// tens are the powers of ten that a float64 holds exactly.
var tens = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// round9 rounds x > 0 by one product and one quotient with a power of ten, both of
// exact numbers, so that each is off by half a unit in the last place at most; ok
// is false where that might matter: next to a tie, or out of the table.
func round9(x float64) (r float64, ok bool) {
	e := int(math.Float64bits(x)>>52) - 1023 // of a power of two; what is not normal is out of the table anyway
	k := 8 - int(math.Floor(float64(float64(e)*0.30102999566398120)))
	for {
		if k <= -len(tens) || k >= len(tens) {
			return 0, false
		}
		var y float64
		if k >= 0 {
			y = float64(x * tens[k])
		} else {
			y = x / tens[-k]
		}
		if y >= 1e9 {
			k--
			continue
		}
		m := math.RoundToEven(y)
		if math.Abs(math.Abs(y-m)-0.5) < 1e-6 {
			return 0, false
		}
		if k >= 0 {
			return m / tens[k], true
		}
		return float64(m * tens[-k]), true
	}
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
	y := x * p
	n := math.Round(y)
	// Nine digits are off by 5e-9 of the number at most: where that is less than what is
	// left to a half, they round to the same.
	if !(math.Abs(math.Abs(y-n)-0.5) > 1e-8*math.Abs(y)+1e-6) {
		n = math.Round(Round9(y))
	}
	if decimals >= 0 && decimals <= 9 && math.Abs(n) < 1<<52 {
		return decimal(int64(n), decimals)
	}
	r := n / p
	s := strconv.FormatFloat(r, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// decimal prints n units of so many decimals, trailing zeros dropped.
func decimal(n int64, decimals int) string {
	for decimals > 0 && n%10 == 0 {
		n /= 10
		decimals--
	}
	if decimals == 0 {
		return strconv.FormatInt(n, 10)
	}
	var buf [32]byte
	out := buf[:0]
	if n < 0 {
		out, n = append(out, '-'), -n
	}
	unit := int64(tens[decimals])
	out = append(strconv.AppendInt(out, n/unit, 10), '.')
	rest := n % unit
	for u := unit / 10; u > rest && u > 1; u /= 10 {
		out = append(out, '0')
	}
	return string(strconv.AppendInt(out, rest, 10))
}

// String prints the figure with its unit.
func (f Figure) String() string {
	if f.Unit == "" {
		return f.Text
	}
	return f.Text + " " + f.Unit
}
