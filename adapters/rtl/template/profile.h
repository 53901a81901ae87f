/*
 * Where your core's profile differs from sync-dma: a line for each key. Keys and the numbers of their
 * values stand in adapters/c-abi/include/trackproof.h, what they mean in
 * adapters/contract/profiles/sync-dma.toml. Build with `--profile profile.h`.
 */
/* values[TP_KEY_FIFO_WORDS] = 4; */
/* values[TP_KEY_RESET_CLEARS_REGISTER] = 1; */
