package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"strings"

	"binwatchd/internal/page/auth"
)

func hashPasswordCommand() command {
	return command{
		name: "hash-password", does: "reads a password from standard input and writes its hash, for the file behind page: {password:}",
		setup: simply(nil, func(_ context.Context, c *call) error {
			line, _ := bufio.NewReader(c.in).ReadString('\n') // a last line may lack its end
			password := strings.TrimRight(line, "\r\n")
			if password == "" {
				return errors.New("no password came in on standard input")
			}
			hash, err := auth.HashPassword(password)
			if err != nil {
				return err
			}
			fmt.Fprintln(c.out, hash)
			return nil
		}),
	}
}
