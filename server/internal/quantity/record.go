package quantity

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// Same: entries that agree within half of the last place shown to people
// (whole bar, tenths of a litre and of a litre a minute) are one entry.
const (
	sameBar    = 0.5
	sameLitres = 0.051
	sameRate   = 0.051
)

// ToSI brings every quantity of a record to SI, at any depth, in place. A
// volume that cannot be told is noted.
func ToSI(m proto.Message, problems *fault.Problems) {
	toSI(m.ProtoReflect(), "", problems)
}

func toSI(m protoreflect.Message, path string, problems *fault.Problems) {
	var working *lastlightv1.Pressure
	if c, ok := m.Interface().(*lastlightv1.Cylinder); ok {
		working = c.WorkingPressure
		ToBar(working)
	}
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if field.Message() == nil || field.IsMap() {
			return true
		}
		at := path + string(field.Name())
		if field.IsList() {
			for i := range value.List().Len() {
				toSI(value.List().Get(i).Message(), fmt.Sprintf("%s[%d].", at, i), problems)
			}
			return true
		}
		switch q := value.Message().Interface().(type) {
		case *lastlightv1.Pressure:
			ToBar(q)
		case *lastlightv1.WaterVolume:
			ToLitres(q, working)
			if q.GetCubicFeetOfGasAtWorkingPressure() != 0 {
				problems.Add(at+".cubic_feet_of_gas_at_working_pressure", fmt.Sprintf("%g ft³", q.GetCubicFeetOfGasAtWorkingPressure()), "litres or cubic_feet of water",
					"the working pressure is not known here, so the volume cannot be told from the gas it holds")
			}
		case *lastlightv1.SurfaceRate:
			ToLitresPerMinute(q)
		default:
			toSI(value.Message(), at+".", problems)
		}
		return true
	})
}

// KeepSame puts the former quantity into next wherever the two are the same as
// people see them: entered in bar or in psi, it is one cylinder. Both are in SI.
func KeepSame(next, former proto.Message) {
	keepSame(next.ProtoReflect(), former.ProtoReflect())
}

func keepSame(next, former protoreflect.Message) {
	former.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if field.Message() == nil || field.IsMap() || !next.Has(field) {
			return true
		}
		if field.IsList() {
			now, then := next.Get(field).List(), value.List()
			for i := range min(now.Len(), then.Len()) {
				keepSame(now.Get(i).Message(), then.Get(i).Message())
			}
			return true
		}
		now, same := next.Get(field).Message().Interface(), false
		switch then := value.Message().Interface().(type) {
		case *lastlightv1.Pressure:
			same = math.Abs(then.GetBar()-now.(*lastlightv1.Pressure).GetBar()) < sameBar
		case *lastlightv1.WaterVolume:
			same = math.Abs(then.GetLitres()-now.(*lastlightv1.WaterVolume).GetLitres()) < sameLitres
		case *lastlightv1.SurfaceRate:
			same = math.Abs(then.GetLitresPerMinute()-now.(*lastlightv1.SurfaceRate).GetLitresPerMinute()) < sameRate
		default:
			keepSame(now.ProtoReflect(), value.Message())
		}
		if same {
			next.Set(field, protoreflect.ValueOfMessage(proto.Clone(value.Message().Interface()).ProtoReflect()))
		}
		return true
	})
}
