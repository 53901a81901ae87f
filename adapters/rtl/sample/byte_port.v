// The newest byte, and whether the host has read it.
module byte_port (
    input  wire       clock,
    input  wire       reset,
    input  wire       host_reset,
    input  wire       byte_boundary,
    input  wire [7:0] newest_bits,
    input  wire       poll_byte,
    output reg  [7:0] byte_value,
    output reg        byte_fresh
);
    always @(posedge clock)
        if (reset || host_reset) begin
            byte_value <= 8'h00;
            byte_fresh <= 1'b0;
        end else if (byte_boundary) begin
            byte_value <= newest_bits;
            byte_fresh <= 1'b1;
        end else if (poll_byte)
`ifdef FAULT_BYTE_FLAG_KEPT
            byte_fresh <= byte_fresh;
`else
            byte_fresh <= 1'b0;
`endif
endmodule
