package tables

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/route"
)

// reasons why a leg is no cavern zone, by their words.
func reason(text string) string {
	for _, words := range [][2]string{
		{"daylight", "daylight"},
		{"distance", "distance"},
		{"depth", "depth"},
		{"deep", "depth"},
		{"night", "night"},
		{"visib", "visibility"},
		{"restrict", "restriction"},
		{"flow", "flow"},
		{"current", "flow"},
		{"line", "line"},
	} {
		if strings.Contains(text, words[0]) {
			return words[1]
		}
	}
	return text
}

func (c *routesCompare) zones(want object) {
	got := map[string]route.Zone{}
	for _, z := range route.Zones(*c.in) {
		got[z.Leg] = z
	}
	for _, id := range slices.Sorted(maps.Keys(want)) {
		o, _ := want[id].(object)
		z, ok := got[id]
		key := "zones." + id
		if !ok {
			c.Fail(c.row, key, "no such leg", o)
			continue
		}
		if w, ok := o["zone"].(string); ok {
			c.Exact(c.row, key+".zone", z.Zone, strings.ReplaceAll(w, "_", " "))
		}
		c.maybe(key+".distance_from_surface_m", o, "distance_from_surface_m", z.DistanceM)
		if list, ok := o["why"].([]any); ok {
			w, g := map[string]bool{}, map[string]bool{}
			for _, x := range list {
				text, _ := x.(string)
				w[reason(text)] = true
			}
			for _, x := range z.Why {
				g[reason(x)] = true
			}
			if !maps.Equal(w, g) {
				c.Fail(c.row, key+".why", z.Why, list)
			}
		}
	}
}

// refusalKinds tells the kind of a refusal by its words, the more particular first.
var refusalKinds = []struct{ words, kind string }{
	{"to itself", route.RefuseSelfLeg},
	{"shorter than its depth", route.RefuseShortLeg},
	{"half + 15", route.RefuseHalfPlus15},
	{"does not end at an opening", route.RefuseEnd},
	{"not an opening", route.RefuseStart},
	{"name the leg", route.RefuseNameLeg},
	{"no leg joins", route.RefuseNoLeg},
	{"no such leg", route.RefuseNoLeg},
	{"line run over", route.RefuseRunOverLine},
	{"has no line", route.RefuseNoLine},
	{"recovered", route.RefuseRecover},
	{"over ground", route.RefuseProgress},
	{"m/min", route.RefuseProgress},
	{"switches to", route.RefuseSwitch},
	{"drops", route.RefuseDrop},
	{"picked up", route.RefusePickUp},
	{"removed", route.RefuseMarker},
	{"not declared", "left"},
}

// refused compares move, kind and object of each refusal, in any order.
func (c *routesCompare) refused(list []any) {
	left := slices.Clone(c.got.Refused)
	for _, x := range list {
		text, _ := x.(string)
		i := slices.IndexFunc(left, func(r route.Refusal) bool { return sameRefusal(text, r) })
		if i < 0 {
			c.Fail(c.row, "refused", "no such refusal", text)
			continue
		}
		left = slices.Delete(left, i, i+1)
	}
	for _, r := range left {
		c.Fail(c.row, "refused", r.Phrase, "no such refusal")
	}
}

func sameRefusal(text string, r route.Refusal) bool {
	head, body, _ := strings.Cut(text, ":")
	kind := ""
	for _, k := range refusalKinds {
		if strings.Contains(text, k.words) {
			kind = k.kind
			break
		}
	}
	if kind == "left" {
		switch body = strings.TrimSpace(body); {
		case strings.HasPrefix(body, "line"):
			kind = route.RefuseLineLeft
		case strings.HasPrefix(body, "marker"):
			kind = route.RefuseMarkerLeft
		default:
			kind = route.RefuseCylinderLeft
		}
	}
	if kind != r.Kind {
		return false
	}
	if n, ok := strings.CutPrefix(head, "move "); ok {
		if number, err := strconv.Atoi(strings.TrimSpace(n)); err != nil || r.At != route.AtMove || number != r.Move {
			return false
		}
	} else if (head == route.AtStart || head == route.AtEnd) && r.At != head {
		return false
	}
	if kind == route.RefuseProgress {
		towards := map[string]string{"from_to": "from->to", "to_from": "to->from"}[r.Detail]
		if strings.Contains(text, "->") && !strings.Contains(text, towards) {
			return false
		}
	}
	switch kind {
	case route.RefuseNoLeg, route.RefuseNameLeg, route.RefuseStart, route.RefuseEnd:
		return true // the place is the object
	}
	return namesObject(text, r.Object)
}

// namesObject tells whether a sentence holds a name as a whole word.
func namesObject(text, name string) bool {
	for i := 0; ; {
		k := strings.Index(text[i:], name)
		if k < 0 || name == "" {
			return false
		}
		from, to := i+k, i+k+len(name)
		edge := func(b byte) bool { return strings.IndexByte(" ,:;.()\"'", b) >= 0 }
		if (from == 0 || edge(text[from-1])) && (to == len(text) || edge(text[to])) {
			return true
		}
		i = from + 1
	}
}
