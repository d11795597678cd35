package app

import (
	"google.golang.org/grpc"

	"lastlight/engine"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/rpc"
	"lastlight/server/internal/store"
)

// registerServices is the one place where the club's services are put into the server, each over the parts it needs.
func registerServices(server grpc.ServiceRegistrar, s *store.Store) {
	lastlightv1.RegisterAccessServiceServer(server, &rpc.Access{Store: s, ServerVersion: Version(), EngineVersion: engine.Version})
}
