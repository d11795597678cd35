package command

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/recordfile"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

// fields are flags that fill a message. Each plain field that a person may
// write has one, named as the field and described by the API's own rules.
type fields struct {
	app   *app
	flags []fieldFlag
}

type fieldFlag struct {
	name, path string
	fd         protoreflect.FieldDescriptor
	values     *[]string
}

// fieldsOf adds flags for the plain fields of the block at prefix in md ("":
// md itself) but those to skip, and for further paths below it, written
// "path" or "flag=path".
func (a *app) fieldsOf(cmd *cobra.Command, md protoreflect.MessageDescriptor, prefix string, skip, further []string) *fields {
	f := &fields{app: a}
	block := md
	if prefix != "" {
		fd, err := recordfile.FieldAt(md, prefix)
		if err != nil {
			panic(err) // A wrong name in a command: the first test finds it.
		}
		block = fd.Message()
		prefix += "."
	}
	for i := range block.Fields().Len() {
		fd := block.Fields().Get(i)
		if outputOnly(fd) || !flaggable(fd) || slices.Contains(skip, string(fd.Name())) {
			continue
		}
		f.add(cmd, string(fd.Name()), prefix+string(fd.Name()), fd)
	}
	for _, spec := range further {
		name, path, ok := strings.Cut(spec, "=")
		if !ok {
			path = spec
			name = path[strings.LastIndex(path, ".")+1:]
		}
		fd, err := recordfile.FieldAt(md, prefix+path)
		if err != nil {
			panic(err)
		}
		f.add(cmd, name, prefix+path, fd)
	}
	return f
}

// Fields that every list and write has; the program fills them.
var filled = []string{"request_id", "page_size", "page_token", "expected_version"}

func (f *fields) add(cmd *cobra.Command, name, path string, fd protoreflect.FieldDescriptor) {
	if slices.Contains(filled, string(fd.Name())) {
		return
	}
	name = strings.ReplaceAll(name, "_", "-")
	v := &textList{isBool: fd.Kind() == protoreflect.BoolKind, kind: flagKind(fd)}
	cmd.Flags().Var(v, name, flagUsage(fd))
	if v.isBool {
		cmd.Flags().Lookup(name).NoOptDefVal = "true"
	}
	if words := choices(fd); len(words) > 0 {
		_ = cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)) // Fails for an unknown flag only.
	}
	f.flags = append(f.flags, fieldFlag{name, path, fd, &v.values})
}

// fill puts the flags that were given into m. A list that is given replaces the one that stood there.
func (f *fields) fill(cmd *cobra.Command, m proto.Message) error {
	for _, flag := range f.flags {
		if !cmd.Flags().Changed(flag.name) {
			continue
		}
		if flag.fd.IsList() {
			clearAt(m.ProtoReflect(), flag.path)
		} else if len(*flag.values) > 1 {
			return usage(cmd, fmt.Errorf("--%s is given twice", flag.name))
		}
		for _, text := range *flag.values {
			if flag.fd.IsList() && text == "" {
				continue // --cylinders "" empties the list.
			}
			if err := f.app.set(m, flag.path, flag.fd, text); err != nil {
				return usage(cmd, fmt.Errorf("--%s: %w", flag.name, err))
			}
		}
	}
	return nil
}

func (a *app) set(m proto.Message, path string, fd protoreflect.FieldDescriptor, text string) error {
	if fd.Message() == nil {
		return recordfile.Set(m, path, text)
	}
	var v proto.Message
	var err error
	system := units.System(a.settings.Units)
	switch fd.Message().FullName() {
	case "google.protobuf.Timestamp":
		if text == "now" {
			v = timestamppb.New(a.began.UTC())
		} else {
			v, err = recordfile.ParseInstant(text)
		}
	case (*pb.Pressure)(nil).ProtoReflect().Descriptor().FullName():
		v, err = system.ParsePressure(text)
	case (*pb.WaterVolume)(nil).ProtoReflect().Descriptor().FullName():
		v, err = system.ParseWater(text)
	case (*pb.SurfaceRate)(nil).ProtoReflect().Descriptor().FullName():
		v, err = system.ParseRate(text)
	case (*pb.Delivery)(nil).ProtoReflect().Descriptor().FullName():
		v, err = system.ParseDelivery(text)
	case (*pb.GasMix)(nil).ProtoReflect().Descriptor().FullName():
		v, err = units.ParseMix(text)
	default:
		return fmt.Errorf("give it in a file with -f")
	}
	if err != nil {
		return err
	}
	r := m.ProtoReflect()
	steps := strings.Split(path, ".")
	for _, s := range steps[:len(steps)-1] {
		r = r.Mutable(r.Descriptor().Fields().ByName(protoreflect.Name(s))).Message()
	}
	r.Set(fd, protoreflect.ValueOfMessage(v.ProtoReflect()))
	return nil
}

func clearAt(r protoreflect.Message, path string) {
	steps := strings.Split(path, ".")
	for _, s := range steps[:len(steps)-1] {
		r = r.Mutable(r.Descriptor().Fields().ByName(protoreflect.Name(s))).Message()
	}
	r.Clear(r.Descriptor().Fields().ByName(protoreflect.Name(steps[len(steps)-1])))
}

func outputOnly(fd protoreflect.FieldDescriptor) bool {
	return proto.GetExtension(fd.Options(), pb.E_OutputOnly).(bool)
}

// flaggable: a plain value, a list of plain values, a time or a quantity.
func flaggable(fd protoreflect.FieldDescriptor) bool {
	if fd.Message() == nil {
		return true
	}
	if fd.IsList() {
		return false
	}
	return flagKind(fd) != "block"
}

func flagKind(fd protoreflect.FieldDescriptor) string {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return "bool"
	case protoreflect.DoubleKind:
		return "number"
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		return "count"
	case protoreflect.MessageKind:
		switch fd.Message().Name() {
		case "Timestamp":
			return "time"
		case "Pressure":
			return "pressure"
		case "WaterVolume":
			return "volume"
		case "SurfaceRate":
			return "rate"
		case "Delivery":
			return "delivery"
		case "GasMix":
			return "gas"
		}
		return "block"
	default:
		return "text"
	}
}

func flagUsage(fd protoreflect.FieldDescriptor) string {
	var words string
	switch flagKind(fd) {
	case "time":
		words = "time with its offset, 2026-06-01T08:10+02:00, or now"
	case "pressure":
		words = "pressure: 210bar or 3000psi (no unit: as set)"
	case "volume":
		words = "size: 12L of water, or 80ft3 of gas at working pressure (no unit: as set)"
	case "rate":
		words = "gas at the surface: 20L/min or 0.7ft3/min (no unit: as set)"
	case "delivery":
		words = "free air: 250L/min or 9ft3/min (no unit: as set)"
	case "gas":
		words = "gas in percent: 32, oxygen/helium 18/45, air, oxygen"
	default:
		words = recordfile.Expect(fd)
	}
	words = strings.TrimSuffix(strings.TrimPrefix(words, "a list of "), ", at least 1")
	if words == "text" { // the flag's type says so already
		words = ""
	}
	if fd.IsList() {
		words += "; repeat the flag for more"
	}
	return words
}

func choices(fd protoreflect.FieldDescriptor) []string {
	if rest, ok := strings.CutPrefix(recordfile.Expect(fd), "one of "); ok {
		return strings.Split(rest, ", ")
	}
	return nil
}

// textList collects what a flag was given, to be read by the field's own rules.
type textList struct {
	values []string
	isBool bool
	kind   string
}

var _ pflag.Value = (*textList)(nil)

func (t *textList) String() string { return strings.Join(t.values, ",") }

func (t *textList) Set(s string) error {
	t.values = append(t.values, s)
	return nil
}

func (t *textList) Type() string {
	if t.isBool {
		return ""
	}
	return t.kind
}
