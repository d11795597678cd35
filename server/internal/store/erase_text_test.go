package store

import (
	"encoding/json"
	"reflect"
	"testing"
)

func TestNamesGoFromTexts(t *testing.T) {
	t.Parallel()
	e := newEraser("ana-rook", "p-222222", "P-222222", "Ana-Maria da Rook", "Ani")
	for _, c := range []struct{ in, anywhere, about string }{
		{"Ana-Maria da Rook was late.", "P-222222 was late.", "P-222222 was late."},
		{"ANA MARIA\n da  ROOK's reel", "P-222222's reel", "P-222222's reel"},
		{"ana-maria-da-rook-mains", "ana-maria-da-rook-mains", "ana-maria-da-rook-mains"}, // a key
		{"Rook Hole is by the old rookery", "Rook Hole is by the old rookery", "P-222222 Hole is by the old rookery"},
		{"Ani and ana-rook and Ana-Maria", "Ani and ana-rook and Ana-Maria", "P-222222 and P-222222 and P-222222"},
		{"da capo, Anita", "da capo, Anita", "da capo, Anita"},
		{"Ana-Maria, da Rook", "Ana-Maria, da Rook", "P-222222, da P-222222"},
		{"", "", ""},
	} {
		if got := e.text(c.in, false); got != c.anywhere {
			t.Errorf("%q becomes %q, want %q", c.in, got, c.anywhere)
		}
		if got := e.text(c.in, true); got != c.about {
			t.Errorf("%q, about the person, becomes %q, want %q", c.in, got, c.about)
		}
	}
}

func TestPeopleGoFromDocuments(t *testing.T) {
	t.Parallel()
	e := newEraser("asta", "p-222222", "P-222222", "Asta Rook", "Asta", "+00 555 9901", "c-12345", "112")
	for _, c := range []struct {
		in, want   string
		own, about bool
	}{
		{
			in:   `{"divers":[{"person":"asta","gas":{"o":21},"instructor":true},{"person":"birk","gas":{"o":32}}],"site":"asta","notes":"Asta led","max_depth_m":12}`,
			want: `{"divers":[{"person":"p-222222","instructor":true},{"person":"birk","gas":{"o":32}}],"site":"asta","notes":"P-222222 led","max_depth_m":12}`, own: true,
		},
		{
			in:   `{"team":[{"person":"asta","mains":"asta-mains"}],"standby":["birk","asta"],"cover":"asta"}`,
			want: `{"team":[{"person":"p-222222","mains":"asta-mains"}],"standby":["birk","p-222222"],"cover":"p-222222"}`,
		},
		{in: `{"divers":[{"person":"asta","name":"Asta","turn_bar":120}]}`, want: `{"divers":[{"person":"p-222222","name":"P-222222","turn_bar":120}]}`},
		{in: `{"notes":"Asta led","remove_by":"2026-06-08"}`, want: `{"notes":"Asta led","remove_by":"2026-06-08"}`},
		{in: `{"narrative":"Asta led"}`, want: `{"narrative":"P-222222 led"}`, about: true},
		{in: `{"person:asta":7,"item:asta":1.50}`, want: `{"person:p-222222":7,"item:asta":1.50}`},
		{in: `{"title":"Spool of asta rook","owner":"birk"}`, want: `{"title":"Spool of P-222222","owner":"birk"}`},
		{in: `{"done_by":"the shop; asta  rook","recorded_by":"rook","granted_by":"asta"}`, want: `{"done_by":"the shop; P-222222","recorded_by":"rook","granted_by":"p-222222"}`, about: true},
		{in: `{"notes":"ring +00 555 9901 or C-12345","telephone":"+00 555 9901"}`, want: `{"notes":"ring P-222222 or P-222222","telephone":"+00 555 9901"}`, about: true},
		{in: `{"notes":"ring +00 555 9901"}`, want: `{"notes":"ring +00 555 9901"}`},
		{in: `{"first_aiders":["Asta Rook, +00 555 9901","+00 555 9901"]}`, want: `{"first_aiders":["P-222222, P-222222","+00 555 9901"]}`},
		{in: `{"notes":"dial 112"}`, want: `{"notes":"dial 112"}`, about: true},
		{in: `{"recorded_by":"asta","id":"asta"}`, want: `{"recorded_by":"p-222222","id":"asta"}`},
	} {
		got, changed, err := e.document([]byte(c.in), "", c.own, c.about)
		if err != nil {
			t.Fatal(err)
		}
		var x, y any
		if json.Unmarshal(got, &x) != nil || json.Unmarshal([]byte(c.want), &y) != nil || !reflect.DeepEqual(x, y) {
			t.Errorf("%s becomes %s, want %s", c.in, got, c.want)
		}
		if changed != (c.in != c.want) {
			t.Errorf("%s: changed %v", c.in, changed)
		}
	}
}
