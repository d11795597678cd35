package command

import (
	"errors"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
)

// typed knows how the fields of a request are given on the command line, so
// that what is wrong with one is told in the words in which it was typed.
type typed struct {
	cmd   *cobra.Command
	verb  verb
	flags []fieldFlag
	// Where in the request what was typed stands, with a point: "person.cards[2]."; empty: the paths above are the request's.
	under string
}

// place is where in a list something stands.
var place = regexp.MustCompile(`\[[0-9]+\]`)

// name is the argument, flag or file that gives a field, and what is typed
// there; expected is empty where the field's own words are the ones. ok false:
// the command line does not give this field.
func (t typed) name(field string) (name, expected string, ok bool) {
	field = strings.TrimPrefix(field, t.under)
	for i, arg := range t.verb.args {
		if at := argPath(arg); recordfile.Within(field, at) {
			return t.verb.argument(i), "", true
		}
	}
	for _, f := range t.flags {
		if !recordfile.Within(field, f.path) {
			continue
		}
		if flagKind(f.fd) == "block" || f.fd.Message() == nil || field != f.path {
			return "--" + f.name, "", true
		}
		return "--" + f.name, flagUsage(f.fd), true
	}
	for path, flag := range t.verb.own {
		if recordfile.Within(place.ReplaceAllString(field, ""), path) {
			return "--" + flag, t.cmd.Flags().Lookup(flag).Usage, true
		}
	}
	rest := field
	if t.verb.block != "" {
		rest = strings.TrimPrefix(field, t.verb.block+".")
	}
	// A flag of the command's own, as --measured PERSON=PRESSURE.
	root, _, _ := strings.Cut(strings.ReplaceAll(rest, "[", "."), ".")
	if f := t.cmd.Flags().Lookup(strings.ReplaceAll(root, "_", "-")); f != nil && rest != "" {
		return "--" + f.Name, f.Usage, true
	}
	return "", "", false
}

// problem tells a problem by the flag or argument.
func (t typed) problem(p recordfile.Problem) recordfile.Problem {
	name, expected, ok := t.name(p.Field)
	if p.Read == "" && p.Message == "" {
		p.Message = "is missing"
	}
	switch {
	case ok:
		p.Field = name
		if expected != "" {
			p.Expected = expected
		}
	case t.verb.file && p.Field != "":
		p.Field = strings.TrimPrefix(p.Field, t.verb.block+".")
		p.Message = strings.TrimPrefix(p.Message+"; no flag gives it, the file of -f does", "; ")
		if fields, ok := strings.CutPrefix(p.Expected, "a block with "); ok {
			p.Expected = p.Field + ": with " + fields
		}
	}
	return p
}

// check finds what the API would refuse by its schema, all at once.
func (t typed) check(req proto.Message) error {
	problems := recordfile.Check(req)
	if r := req.ProtoReflect(); t.verb.block != "" && len(problems) > 0 {
		if fd := r.Descriptor().Fields().ByName(protoreflect.Name(t.verb.block)); !r.Has(fd) {
			// Nothing of the record was given: say what it needs, each by its flag.
			whole := proto.Clone(req)
			whole.ProtoReflect().Mutable(fd)
			if problems = recordfile.Check(whole); len(problems) == 0 {
				problems = recordfile.Problems{{Message: "nothing is given to record", Expected: t.example()}}
			}
		}
	}
	if len(problems) == 0 {
		return nil
	}
	var errs []error
	for _, p := range problems {
		p = t.problem(p)
		p.Place = recordfile.Place{}
		errs = append(errs, errors.New(strings.TrimPrefix(p.String(), ": ")))
	}
	return exit.Errorf(exit.Invalid, "%w\n`%s --help` shows how", errors.Join(errs...), t.cmd.CommandPath())
}

// example is the first line of the command's examples.
func (t typed) example() string {
	first, _, _ := strings.Cut(strings.ReplaceAll(t.cmd.Example, "\\\n    ", ""), "\n")
	return strings.TrimSpace(first)
}

// refused tells what the server finds wrong with a request by the flags that gave it.
func (t typed) refused(err error) error {
	s := status.Convert(err)
	if s.Code() != codes.InvalidArgument {
		return err
	}
	told := s.Proto()
	for i, d := range s.Details() {
		b, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range b.GetFieldViolations() {
			if name, _, ok := t.name(v.GetField()); ok {
				v.Field = name
			}
		}
		if err := told.GetDetails()[i].MarshalFrom(b); err != nil {
			return s.Err()
		}
	}
	return status.FromProto(told).Err()
}

// argument is the name of the i-th positional argument in the usage line: PLAN of "approve PLAN".
func (v verb) argument(i int) string {
	names := strings.Fields(v.use)[1:]
	if len(names) == 0 {
		return ""
	}
	return strings.Trim(names[min(i, len(names)-1)], "[].")
}
