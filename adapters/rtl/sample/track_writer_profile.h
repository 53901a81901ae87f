/* Where the sample track writer's profile differs from sync-dma. */
values[TP_KEY_WRITE_UNIT] = 1; /* data-bytes: it makes the clock bits */
values[TP_KEY_UNDERRUN] = 2;   /* close-gate */
values[TP_KEY_SPLICE_GUARD] = 0;  /* none: every cell from the gate's opening to its end counts */
