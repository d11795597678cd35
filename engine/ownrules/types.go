package ownrules

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
)

// What the library makes of a Go type of the view is kept here and not left to reflection in the library, for one reason: a value
// that is not on record must be an error where it is read, and never a zero.

// field is one field of a type of the view.
type field struct {
	name, doc string
	index     int
	own       bool
	optional  bool
	celType   *types.Type
}

// typeOf is a type of the view as CEL sees it.
type typeOf struct {
	name   string
	fields []field
	cel    *types.Type
}

func (t *typeOf) field(name string) (*field, bool) {
	for i := range t.fields {
		if t.fields[i].name == name {
			return &t.fields[i], true
		}
	}
	return nil, false
}

var (
	viewTypes = map[reflect.Type]*typeOf{}
	byName    = map[string]*typeOf{}
	view      = describe(reflect.TypeFor[View]())
)

// describe reads the tags of a type and of those below it.
func describe(t reflect.Type) *typeOf {
	if d, ok := viewTypes[t]; ok {
		return d
	}
	d := &typeOf{name: t.Name(), cel: types.NewObjectType(t.Name())}
	viewTypes[t], byName[d.name] = d, d
	for i := range t.NumField() {
		f := t.Field(i)
		x := field{name: f.Tag.Get("cel"), doc: f.Tag.Get("doc"), own: f.Tag.Get("own") != "", index: i}
		inner := f.Type
		if inner.Kind() == reflect.Pointer {
			x.optional, inner = true, inner.Elem()
		}
		if inner.Kind() == reflect.Slice {
			x.celType = types.NewListType(simple(inner.Elem()))
		} else {
			x.celType = simple(inner)
		}
		d.fields = append(d.fields, x)
	}
	return d
}

func simple(t reflect.Type) *types.Type {
	switch t.Kind() {
	case reflect.Bool:
		return types.BoolType
	case reflect.Int64:
		return types.IntType
	case reflect.Float64:
		return types.DoubleType
	case reflect.Struct:
		return describe(t).cel
	}
	return types.StringType
}

// object is a struct of the view on its way through an evaluation.
type object struct {
	of   *typeOf
	at   reflect.Value
	path string // as the expression reaches it, e.g. team[1]
	own  string // the person whose records it holds, empty: nobody's
	read *readings
}

// readings are the values that an evaluation has read, each once, in the order in which it did.
type readings struct {
	list    []Reading
	seen    map[string]bool
	missing []string // what was read and is not on record
}

// Reading is one value that an expression has read.
type Reading struct {
	Path   string   // e.g. team[1].age_years
	Number *float64 // where it is a number
	Text   string
	Own    string // in whose own records it stands
}

func (r *readings) note(x Reading) {
	if !r.seen[x.Path] {
		r.seen[x.Path] = true
		r.list = append(r.list, x)
	}
}

// errMissing is what reading a value that is not on record gives.
var errMissing = errors.New("is not on record")

func (o *object) get(f *field) (ref.Val, error) {
	v, path, own := o.at.Field(f.index), o.path+"."+f.name, ""
	if o.path == "" {
		path = f.name
	}
	if f.own {
		own = o.own
	}
	if f.optional {
		if v.IsNil() {
			if !o.read.seen[path] {
				o.read.seen[path] = true
				o.read.missing = append(o.read.missing, path)
			}
			return nil, fmt.Errorf("%s %w", path, errMissing)
		}
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.Bool:
		o.read.note(Reading{Path: path, Text: strconv.FormatBool(v.Bool()), Own: own})
		return types.Bool(v.Bool()), nil
	case reflect.Int64:
		n := float64(v.Int())
		o.read.note(Reading{Path: path, Number: &n, Own: own})
		return types.Int(v.Int()), nil
	case reflect.Float64:
		n := v.Float()
		o.read.note(Reading{Path: path, Number: &n, Own: own})
		return types.Double(n), nil
	case reflect.String:
		o.read.note(Reading{Path: path, Text: v.String(), Own: own})
		return types.String(v.String()), nil
	case reflect.Struct:
		return o.read.object(v, path), nil
	}
	list := make([]ref.Val, v.Len())
	var texts []string
	for i := range list {
		if e := v.Index(i); e.Kind() == reflect.Struct {
			list[i] = o.read.object(e, fmt.Sprintf("%s[%d]", path, i))
		} else {
			list[i] = types.String(e.String())
			texts = append(texts, e.String())
		}
	}
	if v.Type().Elem().Kind() == reflect.String {
		o.read.note(Reading{Path: path, Text: "[" + strings.Join(texts, ", ") + "]", Own: own})
	} else {
		n := float64(len(list))
		o.read.note(Reading{Path: path + ", how many", Number: &n})
	}
	return types.NewRefValList(registry, list), nil
}

// has tells whether a value is on record, and that this was asked: it may be all that a rule goes by.
func (o *object) has(f *field) bool {
	there := !f.optional || !o.at.Field(f.index).IsNil()
	if f.optional {
		x := Reading{Path: o.path + "." + f.name + ", on record", Text: strconv.FormatBool(there)}
		if f.own {
			x.Own = o.own
		}
		o.read.note(x)
	}
	return there
}

// object wraps a struct of the view.
func (r *readings) object(v reflect.Value, path string) *object {
	o := &object{of: viewTypes[v.Type()], at: v, path: path, read: r}
	if d, ok := v.Interface().(Diver); ok {
		o.own = d.ID
	}
	return o
}

// The methods of ref.Val. An object of the view is read field by field and is nothing else: not a map, not converted.

func (o *object) ConvertToNative(t reflect.Type) (any, error) {
	return nil, fmt.Errorf("%s is not a %v", o.of.name, t)
}

func (o *object) ConvertToType(t ref.Type) ref.Val {
	if t == types.TypeType {
		return o.of.cel
	}
	return types.NewErr("%s is not a %s", o.of.name, t.TypeName())
}

func (o *object) Equal(other ref.Val) ref.Val {
	x, ok := other.(*object)
	return types.Bool(ok && x.path == o.path)
}

func (o *object) Type() ref.Type { return o.of.cel }
func (o *object) Value() any     { return o }

// provider tells CEL the types of the view beside its own.
type provider struct{ *types.Registry }

var registry = func() provider {
	r, err := types.NewRegistry()
	if err != nil { // only for message types given, and none is
		panic(err)
	}
	return provider{r}
}()

func (p provider) FindStructType(name string) (*types.Type, bool) {
	if t, ok := byName[name]; ok {
		return types.NewTypeTypeWithParam(t.cel), true
	}
	return p.Registry.FindStructType(name)
}

func (p provider) FindIdent(name string) (ref.Val, bool) {
	if _, ok := byName[name]; ok {
		return nil, false // a type of the view is no value
	}
	return p.Registry.FindIdent(name)
}

func (p provider) FindStructFieldNames(name string) ([]string, bool) {
	t, ok := byName[name]
	if !ok {
		return p.Registry.FindStructFieldNames(name)
	}
	var names []string
	for _, f := range t.fields {
		names = append(names, f.name)
	}
	return names, true
}

func (p provider) FindStructFieldType(name, member string) (*types.FieldType, bool) {
	t, ok := byName[name]
	if !ok {
		return p.Registry.FindStructFieldType(name, member)
	}
	f, ok := t.field(member)
	if !ok {
		return nil, false
	}
	return &types.FieldType{
		Type: f.celType,
		IsSet: func(target any) bool {
			o, ok := target.(*object)
			return ok && o.has(f)
		},
		GetFrom: func(target any) (any, error) {
			o, ok := target.(*object)
			if !ok {
				return nil, fmt.Errorf("%s is read from something else", member)
			}
			return o.get(f)
		},
	}, true
}

// NewValue refuses to make a value of the view: an expression reads, it states nothing.
func (p provider) NewValue(name string, fields map[string]ref.Val) ref.Val {
	if _, ok := byName[name]; ok {
		return types.NewErr("a %s cannot be made", name)
	}
	return p.Registry.NewValue(name, fields)
}
