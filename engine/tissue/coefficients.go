// Package tissue is the Bühlmann ZH-L16 tissue model: sixteen compartments of
// nitrogen and helium, what a straight piece of a dive does to them, and what
// they allow. Pressures are bar absolute, times minutes, depths metres.
package tissue

import (
	"errors"
	"fmt"
)

// Count is the number of compartments.
const Count = 16

// Compartment has the half-times (min) and the coefficients a (bar) and b of one
// compartment for each inert gas.
type Compartment struct {
	ID             string // "1" or "1b", then "2" to "16"
	HalfN2, HalfHe float64
	AN2, BN2       float64
	AHe, BHe       float64
}

// Variant names the set of nitrogen a-values.
type Variant string

const (
	A Variant = "A" // ZH-L16A, the experimental set the others come from: for comparison, no dive is planned with it
	B Variant = "B" // ZH-L16B, for tables
	C Variant = "C" // ZH-L16C, for real-time computing and planning: the default
)

// WaterVapour is the pressure of water vapour in the lungs, bar: 47 mmHg, the
// respiratory quotient taken as 1.0 (Bühlmann).
const WaterVapour = 0.0627

// SurfaceNitrogen is the nitrogen fraction of the air tissues are saturated with.
const SurfaceNitrogen = 0.79

type row struct {
	id                 string
	tN2, aA, aB, aC, b float64
	tHe, aHe, bHe      float64
}

// The coefficients of ZH-L16 as tabulated in the method handbook, physics
// section 1. Half-times and most b-values were read there from published tables;
// the B and C a-values, most helium values and compartment 1b are from memory
// and to be confirmed against Bühlmann, Völlm, Nussberger, Tauchmedizin, 5th ed.
// 2002, table 25. Compartment 4 has b = 0.7825 (not the formula's 0.7725).
var rows = [...]row{
	{"1", 4, 1.2599, 1.2599, 1.2599, 0.5050, 1.51, 1.7424, 0.4245},
	{"1b", 5, 1.1696, 1.1696, 1.1696, 0.5578, 1.88, 1.6189, 0.4770},
	{"2", 8, 1.0000, 1.0000, 1.0000, 0.6514, 3.02, 1.3830, 0.5747},
	{"3", 12.5, 0.8618, 0.8618, 0.8618, 0.7222, 4.72, 1.1919, 0.6527},
	{"4", 18.5, 0.7562, 0.7562, 0.7562, 0.7825, 6.99, 1.0458, 0.7223},
	{"5", 27, 0.6667, 0.6667, 0.6200, 0.8126, 10.21, 0.9220, 0.7582},
	{"6", 38.3, 0.5933, 0.5600, 0.5043, 0.8434, 14.48, 0.8205, 0.7957},
	{"7", 54.3, 0.5282, 0.4947, 0.4410, 0.8693, 20.53, 0.7305, 0.8279},
	{"8", 77, 0.4701, 0.4500, 0.4000, 0.8910, 29.11, 0.6502, 0.8553},
	{"9", 109, 0.4187, 0.4187, 0.3750, 0.9092, 41.20, 0.5950, 0.8757},
	{"10", 146, 0.3798, 0.3798, 0.3500, 0.9222, 55.19, 0.5545, 0.8903},
	{"11", 187, 0.3497, 0.3497, 0.3295, 0.9319, 70.69, 0.5333, 0.8997},
	{"12", 239, 0.3223, 0.3223, 0.3065, 0.9403, 90.34, 0.5189, 0.9073},
	{"13", 305, 0.2971, 0.2850, 0.2835, 0.9477, 115.29, 0.5181, 0.9122},
	{"14", 390, 0.2737, 0.2737, 0.2610, 0.9544, 147.42, 0.5176, 0.9171},
	{"15", 498, 0.2523, 0.2523, 0.2480, 0.9602, 188.24, 0.5172, 0.9217},
	{"16", 635, 0.2327, 0.2327, 0.2327, 0.9653, 240.03, 0.5119, 0.9267},
}

// Model is one choice of coefficients. Make it with New; it does not change.
type Model struct {
	variant      Variant
	compartments [Count]Compartment
	vapour       float64
	rateN2       [Count]float64 // ln 2 / half-time, per minute
	rateHe       [Count]float64
	meanN2       [Count]float64 // 1 / rate, minutes
	meanHe       [Count]float64
}

// New returns the model for a variant, a first compartment ("1b", 5 min, the
// default of the method, or "1", 4 min) and a water vapour pressure in bar
// (WaterVapour, or another author's, 0 to 0.08).
func New(variant Variant, first string, vapour float64) (*Model, error) {
	var errs []error
	if variant != A && variant != B && variant != C {
		errs = append(errs, fmt.Errorf("tissue model %q, must be A, B or C", variant))
	}
	if first != "1" && first != "1b" {
		errs = append(errs, fmt.Errorf("first compartment %q, must be 1 or 1b", first))
	}
	if !(vapour >= 0 && vapour <= 0.08) {
		errs = append(errs, fmt.Errorf("water vapour %v bar, must be 0 to 0.08 bar", vapour))
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	m := &Model{variant: variant, vapour: vapour}
	i := 0
	for _, r := range rows {
		if (r.id == "1" || r.id == "1b") && r.id != first {
			continue
		}
		a := r.aC
		switch variant {
		case A:
			a = r.aA
		case B:
			a = r.aB
		}
		m.compartments[i] = Compartment{ID: r.id, HalfN2: r.tN2, HalfHe: r.tHe, AN2: a, BN2: r.b, AHe: r.aHe, BHe: r.bHe}
		m.rateN2[i] = ln2 / r.tN2
		m.rateHe[i] = ln2 / r.tHe
		m.meanN2[i] = r.tN2 / ln2
		m.meanHe[i] = r.tHe / ln2
		i++
	}
	return m, nil
}

// Default is ZH-L16C with first compartment 1b and Bühlmann's water vapour.
func Default() *Model {
	m, err := New(C, "1b", WaterVapour)
	if err != nil {
		panic(err) // constants of this file
	}
	return m
}

const ln2 = 0.693147180559945309417232121458176568

// Variant returns the model's set of a-values.
func (m *Model) Variant() Variant { return m.variant }

// Vapour returns the water vapour pressure in bar.
func (m *Model) Vapour() float64 { return m.vapour }

// Compartment returns the coefficients of compartment i, 0 to Count-1.
func (m *Model) Compartment(i int) Compartment { return m.compartments[i] }
