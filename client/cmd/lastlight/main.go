// Command lastlight is the club's client: see `lastlight --help`.
package main

import (
	"os"

	"lastlight/client/command"
)

func main() { os.Exit(int(command.Process())) }
