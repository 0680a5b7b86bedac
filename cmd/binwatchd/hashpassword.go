package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"

	"binwatchd/internal/page/auth"
)

func hashPasswordCommand() command {
	c := command{name: "hash-password", does: "reads a password from standard input and writes its hash, for the file behind page: {password:}"}
	c.run = func(_ context.Context, args []string, io *streams) error {
		words, err := parse(c, flag.NewFlagSet(c.name, flag.ContinueOnError), args, io)
		if err != nil {
			return err
		}
		if err := noWords(words); err != nil {
			return err
		}
		line, _ := bufio.NewReader(io.in).ReadString('\n') // a last line may lack its end
		password := strings.TrimRight(line, "\r\n")
		if password == "" {
			return errors.New("no password came in on standard input")
		}
		hash, err := auth.HashPassword(password)
		if err != nil {
			return err
		}
		fmt.Fprintln(io.out, hash)
		return nil
	}
	return c
}
