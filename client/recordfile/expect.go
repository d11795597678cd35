package recordfile

import (
	"strconv"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lastlight/proto/lastlight/v1"
)

// Expect says in words what a field takes: kind, range, unit. It is read off
// the API's own rules, so that files, flags and server cannot drift apart.
func Expect(fd protoreflect.FieldDescriptor) string {
	rules, err := protovalidate.ResolveFieldRules(fd)
	if err != nil {
		rules = nil
	}
	if fd.IsList() {
		what := "a list of texts, [one, two]"
		switch {
		case fd.Message() != nil:
			what = "a list of blocks with " + fieldNames(fd.Message())
		case fd.Kind() == protoreflect.Int32Kind || fd.Kind() == protoreflect.Uint32Kind:
			what = "a list of whole numbers"
		case len(rules.GetRepeated().GetItems().GetString().GetIn()) > 0:
			what = "a list of " + oneOf(rules.GetRepeated().GetItems().GetString().GetIn())
		}
		r := rules.GetRepeated()
		switch {
		case r.GetMinItems() > 0 && r.HasMaxItems():
			what += ", " + strconv.FormatUint(r.GetMinItems(), 10) + " to " + strconv.FormatUint(r.GetMaxItems(), 10) + " of them"
		case r.GetMinItems() > 0:
			what += ", at least " + strconv.FormatUint(r.GetMinItems(), 10)
		case r.HasMaxItems():
			what += ", at most " + strconv.FormatUint(r.GetMaxItems(), 10)
		}
		return what
	}
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.EnumKind:
		var words []string
		for i := range fd.Enum().Values().Len() {
			if ev := fd.Enum().Values().Get(i); ev.Number() != 0 {
				words = append(words, EnumWord(ev))
			}
		}
		return oneOf(words)
	case protoreflect.DoubleKind:
		return expectNumber("a number", rules.GetDouble(), Unit(fd))
	case protoreflect.Int32Kind:
		return expectWhole(rules.GetInt32())
	case protoreflect.Int64Kind:
		return "a whole number"
	case protoreflect.StringKind:
		return expectText(rules.GetString())
	case protoreflect.MessageKind:
		switch fd.Message().FullName() {
		case "google.protobuf.Timestamp":
			return "a time with its offset, e.g. 2026-06-01T08:10+02:00"
		case "google.protobuf.Struct":
			return "a block of fields"
		}
		return expectBlock(fd.Message())
	default:
		return "something else"
	}
}

// Quantities are typed in one of several units; an example says it best.
var quantities = map[protoreflect.FullName]string{
	"lastlight.v1.Pressure":    "a pressure with its unit, {bar: 200} or {psi: 2900}",
	"lastlight.v1.WaterVolume": "a size with its unit, {litres: 12}, {cubic_feet: 0.42} or {cubic_feet_of_gas_at_working_pressure: 80}",
	"lastlight.v1.SurfaceRate": "a rate with its unit, {litres_per_minute: 18} or {cubic_feet_per_minute: 0.65}",
	"lastlight.v1.Delivery":    "a delivery with its unit, {litres_per_minute: 250} or {cubic_feet_per_minute: 9}",
	"lastlight.v1.GasMix":      "a gas in percent, {oxygen_percent: 32} or {oxygen_percent: 18, helium_percent: 45}",
}

func expectBlock(md protoreflect.MessageDescriptor) string {
	if q := quantities[md.FullName()]; q != "" {
		return q
	}
	return "a block with " + fieldNames(md)
}

func expectNumber(what string, r *validate.DoubleRules, unit string) string {
	num := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	switch {
	case r == nil:
	case r.HasGte() && r.HasLte():
		what += ", " + num(r.GetGte()) + " to " + num(r.GetLte())
	case r.HasGt() && r.HasLte():
		what += ", more than " + num(r.GetGt()) + " to " + num(r.GetLte())
	case r.HasGte():
		what += ", at least " + num(r.GetGte())
	case r.HasLte():
		what += ", at most " + num(r.GetLte())
	}
	if unit != "" {
		what += " " + unit
	}
	return what
}

func expectWhole(r *validate.Int32Rules) string {
	num := func(n int32) string { return strconv.Itoa(int(n)) }
	switch {
	case r == nil:
		return "a whole number"
	case r.HasGte() && r.HasLte():
		return "a whole number, " + num(r.GetGte()) + " to " + num(r.GetLte())
	case r.HasGte():
		return "a whole number, at least " + num(r.GetGte())
	default:
		return "a whole number"
	}
}

// The patterns of the API, each in words. A test holds the list complete.
var patterns = map[string]string{
	`^(1/[1-9][0-9]?)?$`:           "a share, e.g. 1/3",
	`^([a-z0-9][a-z0-9-]{0,62})?$`: "a key of small letters, digits and hyphens, at most 63",
	`^[a-z0-9][a-z0-9-]{0,62}$`:    "a key of small letters, digits and hyphens, at most 63",
	`^\d{4}-\d{2}-\d{2}$`:          "a day, YYYY-MM-DD",
	`^(\d{4}-\d{2}-\d{2})?$`:       "a day, YYYY-MM-DD",
	`^\d{4}-\d{2}(-\d{2})?$`:       "a day or month, YYYY-MM-DD or YYYY-MM",
	`^(\d{4}-\d{2}(-\d{2})?)?$`:    "a day or month, YYYY-MM-DD or YYYY-MM",
	`^(\d{2}:\d{2})?$`:             "a time of day, HH:MM",
	`^\d{1,3}(\.\d{1,2})?$`:        "percent as the analyser shows it, e.g. 32.4",
	`^(\d{1,2}(\.\d{1,2})?)?$`:     "percent as the analyser shows it, e.g. 20.9",
}

func expectText(r *validate.StringRules) string {
	if len(r.GetIn()) > 0 {
		return oneOf(r.GetIn())
	}
	if p := r.GetPattern(); p != "" {
		if words := patterns[p]; words != "" {
			return words
		}
		return "text of the form " + p
	}
	switch {
	case r.GetUuid():
		return "a UUID"
	case r.GetMinLen() > 0 && r.HasMaxLen():
		return "text of " + strconv.FormatUint(r.GetMinLen(), 10) + " to " + strconv.FormatUint(r.GetMaxLen(), 10) + " letters"
	case r.GetMinLen() > 0:
		return "text, not empty"
	case r.HasMaxLen():
		return "text of at most " + strconv.FormatUint(r.GetMaxLen(), 10) + " letters"
	default:
		return "text"
	}
}

func oneOf(words []string) string {
	var kept []string
	for _, w := range words {
		if w != "" {
			kept = append(kept, w)
		}
	}
	if len(kept) == 1 {
		return kept[0]
	}
	return "one of " + strings.Join(kept, ", ")
}

// Unit is the unit of a numeric field, as its name ends on it.
func Unit(fd protoreflect.FieldDescriptor) string {
	name := string(fd.Name())
	switch name {
	case "bar", "psi":
		return name
	case "litres":
		return "L"
	case "cubic_feet", "cubic_feet_of_gas_at_working_pressure":
		return "ft³"
	case "litres_per_minute":
		return "L/min"
	case "cubic_feet_per_minute":
		return "ft³/min"
	case "latitude", "longitude":
		return "degrees"
	case "water_density":
		return "kg/m³"
	}
	// Longest endings first: _m_min is a speed, not minutes.
	for _, e := range []struct{ end, unit string }{
		{"_m_min", "m/min"},
		{"_l_min", "L/min"},
		{"_min", "min"},
		{"_minute", "min"},
		{"_percent", "%"},
		{"_bar", "bar"},
		{"_bar_exact", "bar"},
		{"_c", "°C"},
		{"_m", "m"},
		{"_l", "L"},
		{"metres_past", "m"},
	} {
		if strings.HasSuffix(name, e.end) {
			return e.unit
		}
	}
	return ""
}

func fieldNames(md protoreflect.MessageDescriptor) string {
	var names []string
	for i := range md.Fields().Len() {
		if fd := md.Fields().Get(i); !proto.GetExtension(fd.Options(), pb.E_OutputOnly).(bool) {
			names = append(names, string(fd.Name()))
		}
	}
	const most = 8
	if len(names) > most {
		return strings.Join(names[:most], ", ") + " …"
	}
	return strings.Join(names, ", ")
}
