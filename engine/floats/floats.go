// Package floats has the elementary functions the engine uses, in pure Go, with
// every product rounded before it is added to anything: the same bits on every
// processor. The standard library's Exp and Log are assembly that differs by
// processor, and the compiler may fuse x*y+z where the processor can; an
// explicit conversion float64(x*y) forbids that (Go specification, "Floating-point
// operators"). math.Sqrt is used as it is: IEEE 754 fixes its result.
package floats

import "math"

const (
	ln2Hi = 6.93147180369123816490e-01 // 0x3fe62e42fee00000: the low 32 bits are zero, so that k*ln2Hi is exact
	ln2Lo = 1.90821492927058770002e-10 // ln 2 - ln2Hi
	log2e = 1.44269504088896338700e+00
)

// Exp returns e**x to within 1 unit in the last place. Above 709.78 it is +Inf,
// below -745.13 it is 0, of NaN it is NaN.
//
// Method: x = k ln 2 + r with |r| <= ln2/2, and the rational approximation of
// e**r by W. Kahan that fdlibm uses (coefficients from there).
func Exp(x float64) float64 {
	switch {
	case x != x:
		return x
	case x > 7.09782712893383973096e+02:
		return math.Inf(1)
	case x < -7.45133219101941108420e+02:
		return 0
	case -expOne < x && x < expOne:
		return 1 + x
	}
	half := 0.5
	if x < 0 {
		half = -0.5
	}
	k, hi, lo := reduced(x, half)
	y := nearOne(hi, lo, kahan(hi-lo))
	if k > -1022 && k < 1024 {
		return y * power(k)
	}
	return math.Ldexp(y, k)
}

// expOne: nearer to 0, e**x is 1 + x.
const expOne = 1.0 / (1 << 28)

// Decays sets every q[i] to Exp(-rate[i] t), to the bit. Every step of Exp's method is
// done for all of them before the next, as one value's steps wait for each other.
func Decays(q, rate *[16]float64, t float64) {
	var hi, lo, c [16]float64
	for i := range q {
		x := -float64(rate[i] * t)
		if !(x > -700 && x <= -expOne) {
			for i := range q {
				q[i] = Exp(-float64(rate[i] * t))
			}
			return
		}
		var k int
		k, hi[i], lo[i] = reduced(x, -0.5)
		q[i] = power(k)
	}
	for i := range q {
		c[i] = kahan(hi[i] - lo[i])
	}
	for i := range q {
		q[i] *= nearOne(hi[i], lo[i], c[i])
	}
}

// reduced is Exp's k and r, as hi - lo; half is 0.5 with the sign of x.
func reduced(x, half float64) (k int, hi, lo float64) {
	k = int(float64(log2e*x) + half)
	return k, x - float64(float64(k)*ln2Hi), float64(float64(k) * ln2Lo)
}

// kahan is c of the approximation e**r = 1 + r + rc/(2-c).
func kahan(r float64) float64 {
	const (
		p1 = 1.66666666666666657415e-01
		p2 = -2.77777777770155933842e-03
		p3 = 6.61375632143793436117e-05
		p4 = -1.65339022054652515390e-06
		p5 = 4.13813679705723846039e-08
	)
	t := float64(r * r)
	return r - float64(t*(p1+float64(t*(p2+float64(t*(p3+float64(t*(p4+float64(t*p5)))))))))
}

// nearOne is e**r of r = hi - lo and its c.
func nearOne(hi, lo, c float64) float64 {
	return 1 - ((lo - float64((hi-lo)*c)/(2-c)) - hi)
}

// power is 2**k, k from -1022 to 1023.
func power(k int) float64 { return math.Float64frombits(uint64(1023+k) << 52) }

// Log returns the natural logarithm of x to within 1 unit in the last place.
// Of 0 it is -Inf, of a negative number or NaN it is NaN.
//
// Method: x = 2**k (1+f) with 1+f between sqrt(2)/2 and sqrt(2), and fdlibm's
// polynomial in s = f/(2+f) (coefficients from there).
func Log(x float64) float64 {
	switch {
	case x != x || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	f1, ki := math.Frexp(x)
	if f1 < math.Sqrt2/2 {
		f1 *= 2
		ki--
	}
	f := f1 - 1
	k := float64(ki)
	const (
		l1 = 6.666666666666735130e-01
		l2 = 3.999999999940941908e-01
		l3 = 2.857142874366239149e-01
		l4 = 2.222219843214978396e-01
		l5 = 1.818357216161805012e-01
		l6 = 1.531383769920937332e-01
		l7 = 1.479819860511658591e-01
	)
	s := f / (2 + f)
	s2 := float64(s * s)
	s4 := float64(s2 * s2)
	a := l5 + float64(s4*l7)
	a = l3 + float64(s4*a)
	a = l1 + float64(s4*a)
	b := l4 + float64(s4*l6)
	b = l2 + float64(s4*b)
	r := float64(s2*a) + float64(s4*b)
	hf := float64(float64(0.5*f) * f)
	return float64(k*ln2Hi) - ((hf - (float64(s*(hf+r)) + float64(k*ln2Lo))) - f)
}

// Pow returns x**y for x >= 0, as Exp(y Log x): the relative error is about
// |y ln x| + 1 units in the last place, 1e-14 for the engine's uses. 0**y is 0
// for y > 0 and 1 for y = 0; a negative x gives NaN.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case x == 0 && y > 0:
		return 0
	}
	return Exp(float64(y * Log(x)))
}

// Cbrt returns the cube root of x, of either sign, to within 2 units in the last place.
func Cbrt(x float64) float64 {
	if x == 0 || x != x || math.IsInf(x, 0) {
		return x
	}
	a := math.Abs(x)
	r := Exp(Log(a) / 3)
	// One Newton step takes out what Log's rounding, times |ln a|, left.
	r -= (r - a/float64(r*r)) / 3
	return math.Copysign(r, x)
}
