package stories

import (
	"encoding/json"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/engine/policy"
)

// zoneName is where the stories' sites lie.
const zoneName = "Europe/Berlin"

type policyDocument = policy.Policy

func jsonOf(p policy.Policy) ([]byte, error) { return json.Marshal(p) }

func protoreflectMessage(m proto.Message) protoreflect.Value {
	return protoreflect.ValueOfMessage(m.ProtoReflect())
}

// liftInflow takes the siphon row out of the way of a story about its sum.
func liftInflow(p *policy.Policy) {
	for i := range p.Ladder {
		p.Ladder[i].Inflow = policy.GasRule{Kind: policy.GasFraction, Fraction: policy.Frac(1, 3)}
	}
}

// wholeShare takes the share rule out of the way: everything may be breathed on the way in.
func wholeShare(p *policy.Policy) {
	for i := range p.Ladder {
		all := policy.GasRule{Kind: policy.GasFraction, Fraction: policy.Frac(1, 1)}
		p.Ladder[i].GasDoubles, p.Ladder[i].GasSingle = all, all
	}
}
