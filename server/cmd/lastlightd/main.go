// Command lastlightd is the server: see lastlightd --help.
package main

import (
	"os"

	"lastlight/server/internal/app"
)

func main() { os.Exit(app.Main(os.Args[1:])) }
