package finding

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

func TestUnknownStatusBlocksAndIsWorst(t *testing.T) {
	for i, s := range Statuses {
		if s.Rank() != i {
			t.Errorf("%s ranks %d, is listed at %d", s, s.Rank(), i)
		}
	}
	if !Status("").Blocks() || !Status("fine").Blocks() {
		t.Error("a status outside the set must block")
	}
	for _, s := range []Status{Refuse, Indeterminate, NeedsWaiver} {
		if !s.Blocks() {
			t.Errorf("%s must block", s)
		}
	}
	for _, s := range []Status{Caution, Note, Pass, NotApplicable} {
		if s.Blocks() {
			t.Errorf("%s must not block", s)
		}
	}
	if Worst(nil) != Indeterminate {
		t.Error("nothing looked at is nothing known")
	}
	if Worst([]Finding{{Status: Pass}, {Status: Refuse}, {Status: Indeterminate}}) != Refuse {
		t.Error("the worst of pass, refuse, indeterminate is refuse")
	}
}

func TestSortIsWorstFirstAndTotal(t *testing.T) {
	fs := Sorted([]*Finding{
		{Status: Pass, Rule: "a.a"},
		{Status: Refuse, Rule: "z.z", Subject: Subject{Kind: KindDiver, ID: "b"}},
		{Status: Refuse, Rule: "z.z", Subject: Subject{Kind: KindDiver, ID: "a"}},
		{Status: Caution, Rule: "a.a"},
	})
	if fs[0].Subject.ID != "a" || fs[1].Subject.ID != "b" || fs[2].Status != Caution || fs[3].Status != Pass {
		t.Errorf("order %v", fs)
	}
}

func TestOnlyANeedsWaiverWithARoleIsWaivable(t *testing.T) {
	w := &Waiver{Roles: []string{"coordinator"}}
	for _, x := range []struct {
		f    Finding
		want bool
	}{
		{Finding{Status: NeedsWaiver, Waiver: w}, true},
		{Finding{Status: NeedsWaiver}, false},
		{Finding{Status: Refuse, Waiver: w}, false},
		{Finding{Status: Indeterminate, Waiver: w}, false},
	} {
		if x.f.Waivable() != x.want {
			t.Errorf("%+v waivable %v", x.f, !x.want)
		}
	}
}

func TestFigures(t *testing.T) {
	for _, x := range []struct {
		got, want string
	}{
		{Number("", 66.6666666, 1, "bar").String(), "66.7 bar"},
		{Number("", 360.00000001, 1, "m").String(), "360 m"},
		{Number("", -0.0001, 1, "m").String(), "0 m"},
		{Number("", math.NaN(), 1, "m").String(), "unknown m"},
		{CountOf("", 1, "divers").String(), "1 diver"},
		{CountOf("", 2, "divers").String(), "2 divers"},
	} {
		if x.got != x.want {
			t.Errorf("%q, want %q", x.got, x.want)
		}
	}
	if Number("", math.Inf(1), 1, "m").Number != nil {
		t.Error("an infinity must not stand as a number")
	}
	if Round9(1.23456789012) != 1.23456789 || Round9(0.1+0.2) != 0.3 {
		t.Error("figures are rounded to nine significant digits")
	}
}

// Rounding by arithmetic and printing whole units give what strconv gives, digit
// for digit: over all sizes, at ties and next to them.
func TestRoundingIsThatOfStrconv(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	check := func(x float64) {
		t.Helper()
		want, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 8, 64), 64)
		if got := Round9(x); got != want {
			t.Fatalf("%v to nine digits: %v, want %v", x, got, want)
		}
		for decimals := range 6 {
			p := math.Pow10(decimals)
			s := strconv.FormatFloat(math.Round(Round9(x*p))/p, 'f', decimals, 64)
			if strings.Contains(s, ".") {
				s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
			}
			if s == "-0" {
				s = "0"
			}
			if got := Decimal(x, decimals); got != s {
				t.Fatalf("%v with %d decimals: %q, want %q", x, decimals, got, s)
			}
		}
	}
	for range 60000 {
		x := (rng.Float64() - 0.5) * math.Pow10(rng.IntN(40)-20)
		check(x)
		tie := (math.Floor(rng.Float64()*1e9) + 0.5) * math.Pow10(rng.IntN(24)-16)
		for _, y := range []float64{tie, math.Nextafter(tie, 0), math.Nextafter(tie, math.Inf(1))} {
			check(y)
		}
		check(float64(rng.IntN(2000)-1000) / 8)
	}
	for _, x := range []float64{0, math.Copysign(0, -1), 1, -1, 0.1, 999999999, 999999999.5, 999999999.4999999, 9.999999995, 1e9, 1e22, 1e23, 5e-324, math.MaxFloat64} {
		check(x)
	}
}
