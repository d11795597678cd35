package screen

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/recordfile"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// entry is one field of a record on screen: its label by depth, its path for a pipe.
type entry struct {
	depth             int
	label, path, text string
}

// Detail shows a record field by field, in the order of its message.
func (w View) Detail(m proto.Message) error { return w.DetailAt("", m) }

// DetailAt shows a record whose times are those of a site it does not name itself.
func (w View) DetailAt(site string, m proto.Message) error {
	zone := time.UTC
	if site != "" {
		zone = w.zone(site)
	}
	if t, ok := m.(interface{ GetTimeZone() string }); ok && t.GetTimeZone() != "" {
		if l, err := time.LoadLocation(t.GetTimeZone()); err == nil {
			zone = l
		}
	}
	entries := w.walk(m.ProtoReflect(), "", 0, zone)
	if !w.Page {
		t := table.Table{Columns: []table.Column{{Title: "field"}, {Title: "value"}}}
		for _, e := range entries {
			if e.text != "" {
				t.Rows = append(t.Rows, []string{e.path, e.text})
			}
		}
		return w.Table(t)
	}
	p := &page{w: w}
	converted := false
	for _, e := range entries {
		if e.text == "" {
			p.indented(2*e.depth, e.label)
			continue
		}
		p.label(2*e.depth, e.label, spoken(e.label, e.text))
		converted = converted || w.converted(e.text)
	}
	if p.err == nil && converted {
		return w.rounding()
	}
	return p.err
}

// spoken writes a value out of a fixed list for a reader; a pipe and JSON keep
// the list's own word, which is what is typed back.
func spoken(label, value string) string {
	switch label {
	case "direction":
		switch value {
		case "from_to":
			return "as surveyed"
		case "to_from":
			return "against the survey"
		}
	case "action", "bottom", "kind", "zone", "hold task", "decision":
		return strings.ReplaceAll(value, "_", " ")
	}
	return value
}

func (w View) walk(m protoreflect.Message, path string, depth int, zone *time.Location) []entry {
	var out []entry
	fields := m.Descriptor().Fields()
	if fd := fields.ByName("site"); fd != nil && fd.Kind() == protoreflect.StringKind && m.Get(fd).String() != "" {
		zone = w.zone(m.Get(fd).String())
	}
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !m.Has(fd) {
			continue
		}
		label := strings.ReplaceAll(strings.TrimSuffix(string(fd.Name()), suffix(fd)), "_", " ")
		at := string(fd.Name())
		if path != "" {
			at = path + "." + at
		}
		v := m.Get(fd)
		switch {
		case fd.IsMap():
		case !fd.IsList():
			if text, ok := w.text(fd, v, m, zone); ok {
				out = append(out, entry{depth, label, at, text})
				continue
			}
			out = append(out, entry{depth: depth, label: label, path: at})
			out = append(out, w.walk(v.Message(), at, depth+1, zone)...)
		case fd.Message() == nil && !sentences(fd, v.List()):
			var words []string
			for j := range v.List().Len() {
				text, _ := w.text(fd, v.List().Get(j), m, zone)
				words = append(words, text)
			}
			out = append(out, entry{depth, label, at, strings.Join(words, ", ")})
		default:
			for j := range v.List().Len() {
				p := fmt.Sprintf("%s[%d]", at, j)
				n := label + " " + strconv.Itoa(j+1)
				if text, ok := w.text(fd, v.List().Get(j), m, zone); ok {
					out = append(out, entry{depth, n, p, text})
					continue
				}
				out = append(out, entry{depth: depth, label: n, path: p})
				out = append(out, w.walk(v.List().Get(j).Message(), p, depth+1, zone)...)
			}
		}
	}
	return out
}

// sentences tells whether a list holds texts rather than keys or numbers: one
// with a blank may have commas of its own, and each gets a line of its own.
func sentences(fd protoreflect.FieldDescriptor, list protoreflect.List) bool {
	if fd.Kind() != protoreflect.StringKind {
		return false
	}
	for i := range list.Len() {
		if strings.ContainsAny(list.Get(i).String(), " ,;\n") {
			return true
		}
	}
	return false
}

// suffix is the unit at the end of a field's name, which its value shows.
func suffix(fd protoreflect.FieldDescriptor) string {
	for _, s := range []string{"_m_min", "_l_min", "_min", "_percent", "_bar", "_c", "_m", "_l"} {
		if fd.Kind() == protoreflect.DoubleKind && strings.HasSuffix(string(fd.Name()), s) {
			return s
		}
	}
	return ""
}

// text is a value on one line; ok false: it is a block of its own.
func (w View) text(fd protoreflect.FieldDescriptor, v protoreflect.Value, in protoreflect.Message, zone *time.Location) (string, bool) {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		if v.Bool() {
			return "yes", true
		}
		return "no", true
	case protoreflect.DoubleKind:
		switch unit := recordfile.Unit(fd); unit {
		case "bar":
			if string(fd.Name()) == "barometer_bar" {
				return strconv.FormatFloat(v.Float(), 'f', -1, 64) + " bar", true
			}
			if strings.Contains(string(fd.Name()), "turn") {
				return w.Units.BarUp(v.Float()), true
			}
			return w.Units.Bar(v.Float()), true
		case "L":
			return w.Units.Litres(v.Float()), true
		case "L/min":
			return w.Units.Rate(v.Float()), true
		case "":
			return strconv.FormatFloat(v.Float(), 'f', -1, 64), true
		default:
			return strconv.FormatFloat(v.Float(), 'f', -1, 64) + " " + unit, true
		}
	case protoreflect.EnumKind:
		if ev := fd.Enum().Values().ByNumber(v.Enum()); ev != nil {
			return strings.ReplaceAll(recordfile.EnumWord(ev), "_", " "), true
		}
		return strconv.Itoa(int(v.Enum())), true
	case protoreflect.MessageKind:
		switch m := v.Message().Interface().(type) {
		case *timestamppb.Timestamp:
			return w.in(m, zone), true
		case *pb.Pressure:
			return w.Units.Pressure(m), true
		case *pb.WaterVolume:
			if c, ok := in.Interface().(*pb.Cylinder); ok {
				return w.Units.Size(m, c.GetWorkingPressure()), true
			}
			return w.Units.Water(m), true
		case *pb.SurfaceRate:
			return w.Units.SurfaceRate(m), true
		case *pb.GasMix:
			return mix(m), true
		case *pb.Figure:
			return m.GetName() + " " + w.Units.Figure(m, false), true
		case *structpb.Struct:
			text, err := JSON(m)
			if err != nil {
				return err.Error(), true
			}
			return strings.TrimSpace(string(text)), true
		}
		return "", false
	default:
		return v.String(), true
	}
}

// Fields shows labels with their values, those without a value left out.
func (w View) Fields(pairs [][2]string) error {
	if !w.Page {
		t := table.Table{Columns: []table.Column{{Title: "field"}, {Title: "value"}}}
		for _, p := range pairs {
			t.Rows = append(t.Rows, []string{p[0], p[1]})
		}
		return w.Table(t)
	}
	p := &page{w: w}
	for _, x := range pairs {
		p.label(0, x[0], x[1])
	}
	return p.err
}
