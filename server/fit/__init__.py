"""From requirements to ranked stacks: candidates, states, margins, ranking, remedies."""
