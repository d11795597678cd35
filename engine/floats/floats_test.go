package floats

import (
	"math"
	"math/big"
	"testing"
)

// expBig sums the series of e**x with 200 bits: what Exp is checked against.
func expBig(x float64) float64 {
	const prec = 300
	// Halve until small, sum, square back: nothing of the method under test.
	n := 0
	for y := math.Abs(x); y > 0.5; y /= 2 {
		n++
	}
	z := new(big.Float).SetPrec(prec).SetFloat64(x)
	z.SetMantExp(z, -n)
	sum := new(big.Float).SetPrec(prec).SetInt64(1)
	term := new(big.Float).SetPrec(prec).SetInt64(1)
	for i := int64(1); i < 80; i++ {
		term.Mul(term, z)
		term.Quo(term, new(big.Float).SetInt64(i))
		sum.Add(sum, term)
	}
	for range n {
		sum.Mul(sum, sum)
	}
	f, _ := sum.Float64()
	return f
}

func ulps(got, want float64) float64 {
	return math.Abs(got-want) / (math.Nextafter(math.Abs(want), math.Inf(1)) - math.Abs(want))
}

func TestExpWithinOneUnitOfTheSeries(t *testing.T) {
	worst := 0.0
	for i := -3000; i <= 3000; i++ {
		x := float64(i)*0.0137 + 0.00019
		worst = math.Max(worst, ulps(Exp(x), expBig(x)))
	}
	for _, x := range []float64{700.3, -700.3, 709.7, -1e-9, 1e-12, -40} {
		worst = math.Max(worst, ulps(Exp(x), expBig(x)))
	}
	if worst > 1 {
		t.Errorf("worst error %.3f units in the last place", worst)
	}
}

func TestLogUndoesTheSeries(t *testing.T) {
	for i := -2000; i <= 2000; i++ {
		x := float64(i)*0.0171 + 0.00023
		// e**x is rounded once (half a unit, relative 1.1e-16), which moves ln by as much.
		if d := math.Abs(Log(expBig(x)) - x); d > 1.2e-16+2.3e-16*math.Abs(x) {
			t.Fatalf("Log(exp %v) differs by %v", x, d)
		}
	}
}

func TestPowAndCbrt(t *testing.T) {
	for i := 1; i < 400; i++ {
		x := float64(i) * 0.037
		if r := Cbrt(x); ulps(r*r*r, x) > 6 {
			t.Fatalf("Cbrt(%v) = %v", x, r)
		}
		if r := Cbrt(-x); r != -Cbrt(x) {
			t.Fatalf("Cbrt(%v) = %v", -x, r)
		}
		// Cross-check of two routes to one number: x**1.5 = x sqrt x.
		if r, w := Pow(x, 1.5), x*math.Sqrt(x); math.Abs(r-w) > 1e-14*w {
			t.Fatalf("Pow(%v, 1.5) = %v, want %v", x, r, w)
		}
	}
	if Pow(0, 5.0/6) != 0 || Pow(0, 0) != 1 || !math.IsNaN(Pow(-1, 0.5)) {
		t.Error("Pow at its edges")
	}
}

func TestEdges(t *testing.T) {
	if !math.IsInf(Exp(710), 1) || Exp(-746) != 0 || Exp(0) != 1 || !math.IsNaN(Exp(math.NaN())) {
		t.Error("Exp at its edges")
	}
	if !math.IsInf(Log(0), -1) || !math.IsNaN(Log(-1)) || Log(1) != 0 {
		t.Error("Log at its edges")
	}
}

func TestDecaysAreExp(t *testing.T) {
	rate := [16]float64{0, 1e-12, 1e-9, 3.7e-9, 1e-5, 0.001, 0.01, 0.1, 0.36, 0.37, 1, 1.9, 3, 5, 7, 7.4}
	minutes := []float64{0, 1e-9, 0.3, 1, 13.7, 94, 100, 2000, math.Inf(1), math.NaN()}
	for i := range 2000 {
		minutes = append(minutes, float64(i)*0.0317)
	}
	for _, from := range []int{0, 4} { // with and without those nearest to 0
		r := rate
		for i := range from {
			r[i] = rate[i+from]
		}
		for _, m := range minutes {
			var q [16]float64
			Decays(&q, &r, m)
			for i := range q {
				if want := Exp(-float64(r[i] * m)); math.Float64bits(q[i]) != math.Float64bits(want) {
					t.Fatalf("rate %v, %v min: %v, want %v", r[i], m, q[i], want)
				}
			}
		}
	}
}

// TestSameBits fixes the bits of a few results: the same test on another
// processor (arm64 under qemu-user) shows that nothing was fused there.
func TestSameBits(t *testing.T) {
	h := uint64(14695981039346656037)
	for i := 1; i < 20000; i++ {
		for _, v := range []float64{Exp(-float64(i) * 0.0013), Log(float64(i) * 0.37), Pow(float64(i)*0.01, 5.0/6), Cbrt(float64(i) * 0.011)} {
			h = (h ^ math.Float64bits(v)) * 1099511628211
		}
	}
	if want := uint64(0xaabac5243ae2ba61); h != want {
		t.Errorf("hash %#x, want %#x", h, want)
	}
}

func BenchmarkExp(b *testing.B) {
	x, s := -0.001, 0.0
	for b.Loop() {
		s += Exp(x)
		x -= 1e-6
	}
	_ = s
}

func BenchmarkExpOfTheLibrary(b *testing.B) {
	x, s := -0.001, 0.0
	for b.Loop() {
		s += math.Exp(x)
		x -= 1e-6
	}
	_ = s
}
