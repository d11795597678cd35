package app

import (
	"buf.build/go/protovalidate"
	"google.golang.org/grpc"

	"lastlight/engine"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/rpc"
	"lastlight/server/internal/store"
	"lastlight/server/zones"
)

// registerServices is the one place where the club's services are put into the server, each over the parts it needs.
func registerServices(server grpc.ServiceRegistrar, s *store.Store, valid protovalidate.Validator, due *rpc.Due) {
	desk := decide.NewDesk(s, zones.Load, engine.EvaluateUntil)
	lastlightv1.RegisterAccessServiceServer(server, &rpc.Access{Store: s, ServerVersion: Version(), EngineVersion: engine.Version})
	lastlightv1.RegisterSiteServiceServer(server, &rpc.Sites{Store: s})
	lastlightv1.RegisterRosterServiceServer(server, &rpc.Roster{Store: s, Desk: desk, Zones: zones.Load})
	lastlightv1.RegisterGearServiceServer(server, &rpc.Gear{Store: s, Zones: zones.Load})
	lastlightv1.RegisterPolicyServiceServer(server, &rpc.Policies{Store: s, Desk: desk})
	lastlightv1.RegisterExpeditionServiceServer(server, &rpc.Expeditions{Store: s, Zones: zones.Load})
	lastlightv1.RegisterDueServiceServer(server, due)
	lastlightv1.RegisterIncidentServiceServer(server, &rpc.Incidents{Store: s})
	lastlightv1.RegisterPrivacyServiceServer(server, &rpc.Privacy{Store: s})
	lastlightv1.RegisterRecordServiceServer(server, &rpc.Files{Store: s, Valid: valid, Zones: zones.Load})
	lastlightv1.RegisterPlanServiceServer(server, &rpc.Plans{Store: s, Desk: desk})
	lastlightv1.RegisterGasServiceServer(server, &rpc.Gas{Store: s, Zones: zones.Load})
	lastlightv1.RegisterDiveServiceServer(server, &rpc.Dives{Store: s, Desk: desk, Valid: valid})
}
