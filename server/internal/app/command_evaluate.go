package app

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"lastlight/engine"
)

// largestInput bounds what evaluate reads, bytes.
const largestInput = 64 << 20

func (p *program) evaluateCommand() *cobra.Command {
	return &cobra.Command{
		Use: "evaluate FILE", Short: "Run the engine on a stored input and print its report", Args: cobra.ExactArgs(1),
		Long:    "Run the engine on the input of a stored evaluation (JSON, as the evidence of a decision gives it; - for standard\ninput) and print the report, byte for byte as it was stored if the engine is the same. Needs no database.",
		Example: "  lastlightd evaluate input.json",
		RunE: func(cmd *cobra.Command, args []string) error {
			text, err := readInput(args[0], cmd.InOrStdin())
			if err != nil {
				return err
			}
			var in engine.Input
			decoder := json.NewDecoder(bytes.NewReader(text))
			decoder.DisallowUnknownFields()
			if err := decoder.Decode(&in); err != nil {
				return fmt.Errorf("%s: not an engine input: %w", args[0], err)
			}
			report, err := engine.Bytes(engine.Evaluate(in))
			if err != nil {
				return err
			}
			_, err = p.out.Write(report)
			return err
		},
	}
}

func readInput(path string, standard io.Reader) ([]byte, error) {
	r := standard
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		r = f
	}
	text, err := io.ReadAll(io.LimitReader(r, largestInput+1))
	if err == nil && len(text) > largestInput {
		err = fmt.Errorf("%s: larger than %d MiB", path, largestInput>>20)
	}
	return text, err
}
