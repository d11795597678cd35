package engine

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"

	"lastlight/engine/enginetest"
)

// FuzzEvaluate: any input that can be read gives a report that can be written,
// with finite numbers and the same bytes the second time; and the bytes of the
// input's own round trip give it again.
func FuzzEvaluate(f *testing.F) {
	for _, in := range []Input{{}, enginetest.Pair(), enginetest.Expedition(4, 2, 6)} {
		b, err := Bytes(in)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var in Input
		if json.Unmarshal(b, &in) != nil {
			return
		}
		r := Evaluate(in)
		finite(t, reflect.ValueOf(r), "report")
		first, err := Bytes(r)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Bytes(Evaluate(in))
		if err != nil || string(first) != string(again) {
			t.Fatalf("not the same bytes twice (%v)", err)
		}
		if _, err := Hash(in, r); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzInside: bytes of any kind say how a dive goes beyond another, or are no evidence.
func FuzzInside(f *testing.F) {
	in, err := Bytes(enginetest.Pair())
	if err != nil {
		f.Fatal(err)
	}
	report, err := Bytes(Evaluate(enginetest.Pair()))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(in, report)
	f.Add([]byte("{}"), []byte("{}"))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		_, _ = Inside(a, b, in, report)
		_, _ = Inside(in, report, a, b)
	})
}

// finite fails on any number in a value that is not finite.
func finite(t *testing.T, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%s is %v", path, x)
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			finite(t, v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			finite(t, v.Index(i), path+"[]")
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				finite(t, v.Field(i), path+"."+v.Type().Field(i).Name)
			}
		}
	}
}
